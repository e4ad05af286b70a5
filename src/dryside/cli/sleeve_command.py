"""Sleeve: cut plan, filing, binders, inserts and spines, where a negative is, lending, refiling, undo, care."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from dryside.cli import sleeve_keeping
from dryside.cli.support import AsJson, Today, book_from, instant, print_json, say, table, today
from dryside.film.refusal import Refusal

if TYPE_CHECKING:
    from dryside.film.sleeves import SleevePage
    from dryside.sleeves.cutting import CutPlan
    from dryside.sleeves.filing import Filing
    from dryside.sleeves.roll_film import RollFilm

app = typer.Typer(
    help="Cut plan, sleeve pages, binders, inserts; lending and refiling.", no_args_is_help=True, add_completion=False
)

app.add_typer(sleeve_keeping.app)

Roll = Annotated[str, typer.Argument(metavar="ROLL", help="Its code, a second name, or a scanned QR.")]
Binder = Annotated[str, typer.Argument(metavar="BINDER")]
Pages = Annotated[
    str | None,
    typer.Option("--pages", metavar="7x5,6x6", help="Pages at hand, rows x frames in a row, the best liked first."),
]
Frames = Annotated[int | None, typer.Option("--frames", help="Frames really there, if more than were logged.")]
Format = Annotated[str | None, typer.Option("--format", help="Frame size, or 'half:8,135:12' for a roll of several.")]
Out = Annotated[
    Path | None, typer.Option("--out", metavar="FILE", help="Write it here; else into the book's paper folder.")
]
Paper = Annotated[str, typer.Option("--paper", help="a4 or letter.")]


class Form(StrEnum):
    """In which form the plan is drawn."""

    PDF = "pdf"
    SVG = "svg"
    PNG = "png"


@app.command("plan")
def plan_command(
    ctx: typer.Context,
    roll: Roll,
    pages: Pages = None,
    frames: Frames = None,
    format: Format = None,
    true_size: Annotated[
        bool, typer.Option("--true-size", help="Draw the film as long as it is, to lay beside the cutter.")
    ] = False,
    form: Annotated[Form | None, typer.Option("--form", help="As a PDF, or pictures; else as FILE ends.")] = None,
    out: Out = None,
    paper: Paper = "a4",
    day: Today = None,
    json: AsJson = False,
) -> None:
    """Where to cut a roll: fewest pages, no strip shorter than it must be, never through a picture."""
    from dryside.book.files import put_paper
    from dryside.book.rolls import title_of
    from dryside.sleeves.drawing import drawing_of, drawn_pages

    with book_from(ctx, create=False) as book:
        with book.read() as conn:
            row, film = _film(conn, roll, frames, format)
        plan = _plan(film, _layouts(pages, row.format, format))
        with book.read() as conn:
            title = title_of(conn, row)
        drawing = drawing_of(plan, row.code, title, today(day), paper=paper, true_size=true_size)
        ending = form or (Form(out.suffix[1:].lower()) if out and out.suffix[1:].lower() in set(Form) else Form.PDF)
        written = [
            _write(out.with_name(f"{out.stem}{number}.{ending}"), page)
            if out
            else put_paper(book, f"cut plans/{row.code}{number}.{ending}", page)
            for number, page in drawn_pages(drawing, ending.value)
        ]
    if json:
        print_json({"roll": row.code, ending.value: written[0], "files": written, **_plan_data(plan, film)})
        return
    _show_plan(plan, film, row.code)
    for path in written:
        say(f"Drawn in {path}")


@app.command("file")
def file_command(
    ctx: typer.Context,
    roll: Roll,
    binder: Annotated[str, typer.Option("--binder", "-b", metavar="NAME", help="Made if it is not there yet.")],
    pages: Pages = None,
    page: Annotated[int | None, typer.Option("--page", help="Begin on this page; else on a new one.")] = None,
    strips: Annotated[
        str | None, typer.Option("--strips", metavar="1-4,5-8", help="The roll came back cut: frames of each strip.")
    ] = None,
    cut_in: Annotated[
        int | None, typer.Option("--cut-in", metavar="N", help="The roll came back cut in strips of N frames.")
    ] = None,
    frames: Frames = None,
    format: Format = None,
    again: Annotated[bool, typer.Option("--again", help="File anew what is filed already.")] = False,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Only say what would go where.")] = False,
    day: Today = None,
    json: AsJson = False,
) -> None:
    """Lay a roll's strips into a binder, by the cut plan or as a lab has cut it."""
    from dryside.sleeves.filing import carry_out, filing_of_plan

    with book_from(ctx, create=False) as book:
        with book.read() as conn:
            row, film = _film(conn, roll, frames, format)
        layouts = _layouts(pages, row.format, format)
        filing = (
            _as_cut(film, layouts, strips, cut_in)
            if strips or cut_in is not None
            else filing_of_plan(_plan(film, layouts))
        )
        filed = []
        if not dry_run:
            with book.write() as conn:
                filed = list(
                    carry_out(conn, row, filing, _binder(conn, binder), first_page=page, again=again, at=instant(day))
                )
    if json:
        print_json(
            {
                "roll": row.code,
                "layout": filing.layout.key,
                "strips": filed or filing.strips,
                "missing": filing.missing,
                "remarks": filing.remarks,
                "filed": not dry_run,
            }
        )
        return
    _show_filing(filing, filed, row.code)


@app.command("binder")
def binder_command(
    ctx: typer.Context,
    name: Annotated[str | None, typer.Argument(metavar="[NAME]")] = None,
    shelf: Annotated[str | None, typer.Option("--shelf", help="Where it stands.")] = None,
    holds: Annotated[str, typer.Option("--holds", help="acetate, polyester, nitrate, mixed or unknown.")] = "acetate",
    json: AsJson = False,
) -> None:
    """Make a binder, or list them all with what is in them."""
    from dryside.sleeves.binders import add_binder, list_binders, list_pages

    with book_from(ctx, create=name is not None) as book:
        if name is not None:
            with book.write() as conn:
                add_binder(conn, name, place=shelf, holds=holds)
        with book.read() as conn:
            rows = [(binder, list_pages(conn, binder.id)) for binder in list_binders(conn)]
    if json:
        print_json(
            {"binders": [{"name": b.name, "shelf": b.place, "holds": b.holds, "pages": len(p)} for b, p in rows]}
        )
        return
    table(
        ("binder", "shelf", "holds", "pages"), [(b.name, b.place, b.holds, len(p)) for b, p in rows], right=("pages",)
    )


@app.command("insert")
def insert_command(
    ctx: typer.Context,
    what: Annotated[str, typer.Argument(metavar="BINDER[/PAGE] or ROLL")],
    out: Annotated[
        Path | None, typer.Option("--out", metavar="DIR", help="A folder; else the book's paper folder.")
    ] = None,
    paper: Paper = "a4",
    link: Annotated[
        str | None, typer.Option("--link", metavar="URL", help="Address of the served book, for QRs a phone opens.")
    ] = None,
    day: Today = None,
    json: AsJson = False,
) -> None:
    """Print the page that lies beside a sleeve page: each picture where its negative lies."""
    from dryside.book.files import put_file
    from dryside.sleeves.inserts import page_insert

    with book_from(ctx, create=False) as book, book.read() as conn:
        written = []
        for binder, page in _pages_meant(conn, what):
            made = page_insert(book, conn, binder, page, made_on=today(day), paper=paper, link=link)
            name = f"{_safe(binder.name)}-page-{page.number:03}.pdf"
            written.append(put_file(out or book.paper / "inserts", name, made.pdf()))
    if json:
        print_json({"inserts": written})
        return
    for path in written:
        say(str(path))


@app.command("where")
def where_command(
    ctx: typer.Context,
    what: Annotated[str, typer.Argument(metavar="ROLL[/FRAME]", help="A roll, a frame of it, or a scanned QR.")],
    json: AsJson = False,
) -> None:
    """The way to a negative: binder, page, row, place; or who has it."""
    from dryside.book.frames import find_frame
    from dryside.sleeves.whereabouts import binder_of_qr, find_picture, whereabouts

    spine = binder_of_qr(what)
    if spine is not None:
        _show_binder(ctx, spine, json)
        return
    with book_from(ctx, create=False) as book, book.read() as conn:
        roll, label = find_picture(conn, what)
        wanted = find_frame(conn, roll.id, label).label if label else None
        places = whereabouts(conn, roll, wanted)
    if json:
        print_json({"roll": roll.code, "frames": places})
        return
    if label:
        say(str(places[0]))
        return
    table(("frame", "where"), [(place.label, place.in_words()) for place in places])


def _show_binder(ctx: typer.Context, name: str, json: bool) -> None:
    """What lies in a binder, page by page."""
    from dryside.book.rolls import get_roll
    from dryside.sleeves.binders import find_binder, list_pages, strips_on_page

    with book_from(ctx, create=False) as book, book.read() as conn:
        binder = find_binder(conn, name)
        lying: list[dict[str, Any]] = []
        for page in list_pages(conn, binder.id):
            ids = dict.fromkeys(strip.roll_id for strip in strips_on_page(conn, page.id))
            lying.append(
                {"page": page.number, "layout": page.layout, "rolls": [get_roll(conn, one).code for one in ids]}
            )
    if json:
        print_json({"binder": binder.name, "shelf": binder.place, "pages": lying})
        return
    table(
        ("page", "layout", "rolls"),
        [(one["page"], one["layout"], ", ".join(one["rolls"])) for one in lying],
        right=("page",),
    )


@app.command("undo")
def undo_command(
    ctx: typer.Context,
    change: Annotated[int | None, typer.Argument(metavar="[NUMBER]", help="Which change; else the last.")] = None,
    listed: Annotated[bool, typer.Option("--list", help="Show what can be taken back.")] = False,
    day: Today = None,
    json: AsJson = False,
) -> None:
    """Take back the last filing, move or refiling."""
    from dryside.book.undoing import recent_changes, take_back

    with book_from(ctx, create=False) as book:
        if listed:
            with book.read() as conn:
                changes = recent_changes(conn)
            if json:
                print_json({"changes": changes})
                return
            rows = [(c["id"], c["at"], c["what"], "taken back" if c["undone"] else "") for c in changes]
            table(("number", "when", "what", ""), rows, right=("number",))
            return
        with book.write() as conn:
            undone = take_back(conn, change, at=instant(day))
    if json:
        print_json(undone)
        return
    say(f"Taken back: {undone.what}.")


# --- what the commands share -------------------------------------------------------------------------------------


def _film(conn: Any, roll: str, count: int | None, format: str | None) -> tuple[Any, RollFilm]:
    from dryside.book.rolls import find_roll
    from dryside.sleeves.roll_film import film_of_roll
    from dryside.sleeves.whereabouts import roll_of_qr

    row = find_roll(conn, roll_of_qr(roll))
    return row, film_of_roll(conn, row, count=count, format=_formats(format))


def _formats(text: str | None) -> str | list[str] | None:
    """`half`, or `half:8,135:12`: eight half frames, then twelve full ones."""
    from dryside.film.formats import parse_format

    if text is None or ":" not in text:
        return None if text is None else parse_format(text)
    formats = []
    for part in text.split(","):
        name, _, many = part.partition(":")
        if not many.strip().isdigit():
            raise Refusal(f"--format {text}", f"'{part}' has no number of frames", "Write it like half:8,135:12.")
        formats += [parse_format(name)] * int(many)
    return formats


def _layouts(pages: str | None, roll_format: str, format: str | None) -> list[SleevePage]:
    from dryside.sleeves.page_choice import pages_for

    one = _formats(format)
    return pages_for(one if isinstance(one, str) else one[0] if one else roll_format, pages)


def _plan(film: RollFilm, layouts: list[SleevePage]) -> CutPlan:
    from dryside.sleeves.cutting import plan_cuts

    return plan_cuts(film.frames, layouts)


def _as_cut(film: RollFilm, layouts: list[SleevePage], strips: str | None, cut_in: int | None) -> Filing:
    from dryside.sleeves.filing import filing_as_cut, parse_strips, strips_of_lengths

    labels = [frame.label for frame in film.frames]
    if strips and cut_in:
        raise Refusal("--strips and --cut-in", "they say the same thing twice", "Give one of them.")
    if strips:
        return filing_as_cut(film.frames, parse_strips(strips, labels), layouts)
    if cut_in is None or cut_in < 1:
        raise Refusal(f"--cut-in {cut_in}", "a strip has at least one frame", "Write --cut-in 4.")
    counts = [min(cut_in, len(labels) - start) for start in range(0, len(labels), cut_in)]
    return filing_as_cut(film.frames, strips_of_lengths(counts, labels), layouts)


def _binder(conn: Any, name: str) -> Any:
    """The binder, made if it is not there."""
    from dryside.film.refusal import NotFound
    from dryside.sleeves.binders import add_binder, find_binder

    try:
        return find_binder(conn, name)
    except NotFound:
        return add_binder(conn, name)


def _pages_meant(conn: Any, what: str) -> list[tuple[Any, Any]]:
    """Pages that a binder, a binder's page, or a roll names."""
    from dryside.film.refusal import NotFound
    from dryside.sleeves.binders import find_binder, find_page, list_pages, pages_of_roll, parse_address, strips_on_page
    from dryside.sleeves.whereabouts import find_picture

    try:
        address = parse_address(what)
        binder = find_binder(conn, address.binder)
    except (NotFound, Refusal) as not_a_binder:
        try:
            found = pages_of_roll(conn, find_picture(conn, what)[0].id)
        except NotFound:
            raise not_a_binder from None
        if not found:
            raise NotFound(
                f"roll {what}", "none of its strips lies in a binder", "File it: dryside sleeve file."
            ) from None
        return found
    if address.page is not None:
        return [(binder, find_page(conn, binder, address.page))]
    return [(binder, page) for page in list_pages(conn, binder.id) if strips_on_page(conn, page.id)]


def _write(path: Path, content: bytes) -> Path:
    from dryside.book.files import put_file

    return put_file(path.parent, path.name, content)


def _safe(name: str) -> str:
    return "".join(letter if letter.isalnum() or letter in "-_ " else "-" for letter in name).strip() or "binder"


def _plan_data(plan: CutPlan, film: RollFilm) -> dict[str, Any]:
    return {
        "page": plan.page.key,
        "pages": plan.pages,
        "measured_frames": film.measured,
        "strips": [
            {
                "number": strip.number,
                "frames": plan.labels_of(strip),
                "length_mm": round(strip.length_mm, 1),
                "page": plan.place_of(strip)[0],
                "row": plan.place_of(strip)[1],
            }
            for strip in plan.strips
        ],
        "cuts": [
            {
                "number": cut.number,
                "between": [plan.frames[cut.after].label, plan.frames[cut.after + 1].label],
                "at_mm": round(cut.at_mm - plan.strips[0].start_mm, 1),
                "gap_mm": round(cut.gap_mm, 2),
                "again_at_mm": None if cut.again_at_mm is None else round(cut.again_at_mm - plan.strips[0].start_mm, 1),
            }
            for cut in plan.cuts
        ],
        "remarks": plan.remarks,
    }


def _show_plan(plan: CutPlan, film: RollFilm, code: str) -> None:
    many = "page" if plan.pages == 1 else "pages"
    how = (
        f"{film.measured} of {len(film.frames)} positions from captures"
        if film.measured
        else "positions by the camera's rhythm"
    )
    counted = f"{len(film.frames)} frames, {len(plan.strips)} strips, {plan.pages} {many} of {plan.page.key}"
    say(f"Roll {code}: {counted} ({how})")
    rows = []
    for strip in plan.strips:
        labels, (page, row) = plan.labels_of(strip), plan.place_of(strip)
        rows.append((strip.number, f"{labels[0]} to {labels[-1]}", strip.count, f"{strip.length_mm:.0f} mm", page, row))
    table(
        ("strip", "frames", "how many", "length", "page", "row"),
        rows,
        right=("strip", "how many", "length", "page", "row"),
    )
    for remark in plan.remarks:
        say(f"Note: {remark}.")


def _show_filing(filing: Filing, filed: list[Any], code: str) -> None:
    if filed:
        rows = [(s.number, f"{s.labels[0]} to {s.labels[-1]}", s.binder, s.page, s.row, s.place) for s in filed]
        table(("strip", "frames", "binder", "page", "row", "place"), rows, right=("strip", "page", "row", "place"))
    else:
        planned = [(s.number, f"{s.labels[0]} to {s.labels[-1]}", s.page, s.row, s.place) for s in filing.strips]
        table(("strip", "frames", "page", "row", "place"), planned, right=("strip", "page", "row", "place"))
        say("Nothing was filed: --dry-run.")
    for remark in filing.remarks:
        say(f"Note: {remark}.")
    if filed:
        say(f"Roll {code} is sleeved. To take this back: dryside sleeve undo")
