"""Prints: which size a picture bears, print files for a lab, sheets for one's own printer, index prints, soft proof."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from dryside.cli.support import AsJson, Today, book_from, print_json, progress, say, table, today
from dryside.film.refusal import NotFound, Refusal

if TYPE_CHECKING:
    from dryside.film.printsizes import PrintSize
    from dryside.prints.faces import Box
    from dryside.prints.fitting import PrintPlan
    from dryside.prints.looking import LookedAt
    from dryside.prints.pricing import ListedPrice
    from dryside.prints.print_files import FileWish, PrintJob

app = typer.Typer(
    help="Print sizes that fit; print files, sheets, index prints.", no_args_is_help=True, add_completion=False
)

Pictures = Annotated[list[str], typer.Argument(metavar="PICTURE...", help="Files, or frames of the book: 26-014-D/12.")]
Sizes = Annotated[
    str | None, typer.Option("--size", "-s", metavar="8R,20x30cm", help="Sizes, comma between; else all that are sold.")
]
Fit = Annotated[bool, typer.Option("--fit", help="Print the picture whole, with white; else the paper is filled.")]
Border = Annotated[float, typer.Option("--border", metavar="MM", help="White on all sides.")]
CropAt = Annotated[
    float | None,
    typer.Option("--crop-at", metavar="0..1", help="Place the crop by hand: 0 keeps the left or top end, 1 the other."),
]
CropPart = Annotated[
    str | None,
    typer.Option("--crop", metavar="L,T,R,B", help="Only this part by hand: left, top, right, bottom from 0 to 1."),
]
Labs = Annotated[Path | None, typer.Option("--labs", metavar="DIR", help="Price lists as TOML; else the book's labs.")]


@app.callback()
def prints() -> None:
    """Print sizes that fit; print files, sheets, index prints."""


@app.command("fit")
def fit_command(
    ctx: typer.Context,
    pictures: Pictures,
    size: Sizes = None,
    fit: Fit = False,
    border: Border = 0.0,
    crop_at: CropAt = None,
    crop: CropPart = None,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="DIR", help="Draw each crop over its picture, here.")
    ] = None,
    labs: Labs = None,
    day: Today = None,
    json: AsJson = False,
) -> None:
    """Which sizes a picture bears: what a crop takes off, pixels per inch, and how sharp that looks from where."""
    from dryside.prints.looking import look_at, plans_for

    sizes = _sizes(size)
    prices = _prices(ctx, labs, today(day))
    answers = []
    for one in _paths(ctx, pictures):
        name, path = one.name, one.path
        picture = look_at(path)
        plans = plans_for(picture, sizes, way="fit" if fit else "fill", border_mm=border, at=crop_at, part=_part(crop))
        drawn = _draw(out, name, picture, plans) if out else []
        answers.append(
            {
                "picture": name,
                "path": path,
                "width_px": picture.width_px,
                "height_px": picture.height_px,
                "subject": picture.subject,
                "faces": picture.faces,
                "sizes": [_plan_data(plan, prices) for plan in plans],
                "drawings": drawn,
            }
        )
        if not json:
            _show_plans(name, picture, plans, prices, drawn)
    if json:
        print_json({"pictures": answers})


@app.command("files")
def files_command(
    ctx: typer.Context,
    pictures: Pictures,
    size: Annotated[str, typer.Option("--size", "-s", metavar="8R or '4R:10,8R'", help="Sizes, copies after a colon.")],
    out: Annotated[Path, typer.Option("--out", metavar="DIR")],
    fit: Fit = False,
    border: Border = 0.0,
    crop_at: CropAt = None,
    crop: CropPart = None,
    ppi: Annotated[float, typer.Option("--ppi", help="Pixels to an inch of paper.")] = 300.0,
    profile: Annotated[str, typer.Option("--profile", help="srgb, adobe-rgb, display-p3, or an ICC file.")] = "srgb",
    intent: Annotated[str, typer.Option("--intent", help="perceptual, relative, saturation or absolute.")] = "relative",
    sharpen: Annotated[float, typer.Option("--sharpen", help="0 none, 1 usual.")] = 1.0,
    kind: Annotated[
        str, typer.Option("--kind", help="jpeg, tiff, or tiff16 (16 bits) where the lab takes it.")
    ] = "jpeg",
    name: Annotated[str, typer.Option("--name", help="Template of the names.")] = "{size}_x{copies}_{name}",
    record: Annotated[
        bool, typer.Option("--record/--no-record", help="Note in the book what is printed of its frames.")
    ] = True,
    labs: Labs = None,
    day: Today = None,
    json: AsJson = False,
) -> None:
    """Make files for a lab: exact pixels, sharpened, in the lab's colours, named by size and copies."""
    from dryside.prints.print_files import make_files
    from dryside.prints.recording import record_prints

    wish = _wish(ppi, profile, intent, sharpen, kind, name)
    wanted, found = _sizes_and_copies(size), _paths(ctx, pictures)
    jobs = _jobs(found, wanted, "fit" if fit else "fill", border, crop_at, _part(crop))
    with progress("Print files", total=len(jobs), shown=None) as steps:
        made = make_files(jobs, wish, out, step=steps.step)
    totals = _totals(wanted, len(found), _prices(ctx, labs, today(day)))
    frames = {one.path: one.frame_id for one in found if one.frame_id is not None}
    if record and frames:
        with book_from(ctx, create=False) as book, book.write() as conn:
            record_prints(conn, jobs, made, frames, made_on=today(day))
    if json:
        print_json({"files": made, "manifest": out / "manifest.csv", "prices": totals})
        return
    rows = [
        (one.file, f"{one.width_px} x {one.height_px}", one.copies, f"{one.loss_pct:.1f} %", one.verdict)
        for one in made
    ]
    table(("file", "pixels", "copies", "cut off", "how it looks"), rows, right=("copies", "cut off"))
    for remark in dict.fromkeys(remark for job in jobs for remark in job.plan.remarks):
        say(f"Note: {remark}.")
    for total in totals:
        note = f"; not sold there: {', '.join(total['not_sold'])}" if total["not_sold"] else ""
        say(f"{total['lab']}: {total['total']} {total['currency']}{note}")


@app.command("sheet")
def sheet_command(
    ctx: typer.Context,
    pictures: Pictures,
    size: Annotated[str, typer.Option("--size", "-s", metavar="'4R:4,8R'", help="Sizes, copies after a colon.")],
    out: Annotated[Path, typer.Option("--out", metavar="FILE")],
    paper: Annotated[str, typer.Option("--paper", help="A3, 13x19in, 329x483mm, or 'roll 610mm'.")] = "A4",
    margin: Annotated[float, typer.Option("--margin", metavar="MM", help="Edge the printer leaves white.")] = 5.0,
    gap: Annotated[float, typer.Option("--gap", metavar="MM", help="Between prints; 0 shares the cuts.")] = 4.0,
    guillotine: Annotated[bool, typer.Option("--guillotine", help="Only cuts from edge to edge.")] = False,
    turning: Annotated[bool, typer.Option("--turn/--no-turn", help="Whether prints may lie turned.")] = True,
    marks: Annotated[bool, typer.Option("--marks/--no-marks", help="Cut marks.")] = True,
    fit: Fit = False,
    border: Border = 0.0,
    crop_at: CropAt = None,
    crop: CropPart = None,
    ppi: Annotated[float, typer.Option("--ppi")] = 300.0,
    profile: Annotated[str, typer.Option("--profile", help="srgb, adobe-rgb, display-p3, or an ICC file.")] = "srgb",
    intent: Annotated[str, typer.Option("--intent")] = "relative",
    sharpen: Annotated[float, typer.Option("--sharpen")] = 1.0,
    day: Today = None,
    json: AsJson = False,
) -> None:
    """Lay prints of any sizes onto sheets or a roll for one's own printer, with the least waste; a PDF at true size."""
    from dryside.book.files import put_file
    from dryside.prints.sheets import make_sheets, paper_stand

    wish = _wish(ppi, profile, intent, sharpen, "jpeg", "{name}")
    jobs = _jobs(_paths(ctx, pictures), _sizes_and_copies(size), "fit" if fit else "fill", border, crop_at, _part(crop))
    stand = paper_stand(paper, margin_mm=margin, gap_mm=gap)
    made = make_sheets(jobs, stand, wish, made_on=today(day), turning=turning, guillotine=guillotine, marks=marks)
    path = put_file(out.parent, out.name, made.pdf)
    if json:
        print_json({"pdf": path, "layout": made.layout, "paper_mm": [stand.width_mm, made.layout.length_mm]})
        return
    layout = made.layout
    used = (
        f"{layout.length_mm:.0f} mm of roll"
        if stand.height_mm is None
        else f"{layout.sheets} of {paper} (by area at least {layout.least_sheets})"
    )
    say(f"{len(layout.placed)} prints on {used}, {layout.waste_pct:.0f} % stays white: {path}")
    say("Print it at 100 %, without fitting to the page.")


@app.command("index")
def index_command(
    ctx: typer.Context,
    roll: Annotated[str, typer.Argument(metavar="ROLL")],
    size: Annotated[str, typer.Option("--size", "-s")] = "4R",
    out: Annotated[Path | None, typer.Option("--out", metavar="DIR", help="Else the book's paper folder.")] = None,
    day: Today = None,
    json: AsJson = False,
) -> None:
    """One small print with all frames of a roll, numbered: PDF, and JPEG for a lab."""
    from dryside.book.files import put_file
    from dryside.book.rolls import find_roll
    from dryside.film.printsizes import print_size
    from dryside.prints.index_prints import index_of_roll

    with book_from(ctx, create=False) as book, book.read() as conn:
        row = find_roll(conn, roll)
        made = index_of_roll(
            book, conn, row, print_size(size), made_on=today(day), line=row.exposed_on or row.loaded_on or ""
        )
        folder = out or book.paper / "index prints"
        paths = [put_file(folder, f"{row.code}{end}", data) for end, data in ((".pdf", made.pdf), (".jpg", made.jpeg))]
    if json:
        print_json({"roll": row.code, "files": paths, "without_picture": made.without})
        return
    for path in paths:
        say(str(path))
    if made.without:
        say(f"Note: no picture of frames {', '.join(made.without)}.")


@app.command("proof")
def proof_command(
    ctx: typer.Context,
    picture: Annotated[str, typer.Argument(metavar="PICTURE")],
    paper: Annotated[str, typer.Option("--paper", metavar="ICC", help="The paper's profile.")],
    out: Annotated[Path, typer.Option("--out", metavar="DIR")],
    intent: Annotated[str, typer.Option("--intent")] = "relative",
    white: Annotated[bool, typer.Option("--paper-white", help="Show the paper's own white and black.")] = False,
    json: AsJson = False,
) -> None:
    """How a picture will look on a paper, and which of its colours that paper cannot show."""
    import simplejpeg

    from dryside.book.files import put_file
    from dryside.prints.colour import check_intent, profile_of
    from dryside.prints.naming import safe_name
    from dryside.prints.proof import draw_map, soft_proof
    from dryside.prints.reading import read_for_proof

    profile = profile_of(paper)
    found = _paths(ctx, [picture])[0]
    pixels, source = read_for_proof(found.path)
    proof = soft_proof(pixels, source, profile, intent=check_intent(intent), paper_white=white)
    stem = safe_name(found.name)
    files = [
        put_file(out, f"{stem} {what}.jpg", simplejpeg.encode_jpeg(image, quality=95, colorsubsampling="444"))
        for what, image in (("on paper", proof.shown), ("out of gamut", draw_map(proof)))
    ]
    if json:
        print_json(
            {
                "picture": found.name,
                "paper": profile.name,
                "out_of_gamut_pct": round(proof.out_pct, 2),
                "worst_delta_e": round(proof.worst_delta_e, 1),
                "files": files,
            }
        )
        return
    say(f"{found.name} on {profile.name}: {proof.words}")
    for path in files:
        say(str(path))


# --- what the commands share -------------------------------------------------------------------------------------


def _sizes(text: str | None) -> list[PrintSize] | None:
    from dryside.film.printsizes import print_size

    return None if text is None else [print_size(part) for part in text.split(",") if part.strip()]


@dataclass(frozen=True)
class _Found:
    """A picture that was named: a word for it, its file, and the frame of the book it is, if it is one."""

    name: str
    path: Path
    frame_id: int | None = None
    roll: str = ""
    frame: str = ""
    caption: str = ""


def _paths(ctx: typer.Context, pictures: list[str]) -> list[_Found]:
    """The file of each picture; a frame whose scan is gone or was never made is refused by name."""
    return [_Found(Path(text).stem, Path(text)) if Path(text).is_file() else _frame(ctx, text) for text in pictures]


def _frame(ctx: typer.Context, text: str) -> _Found:
    from dryside.book.frame_pictures import picture_of_frame
    from dryside.book.frames import find_frame
    from dryside.book.rolls import find_roll

    roll_text, _, label = text.partition("/")
    if not label or Path(text).suffix.lower() in (".jpg", ".jpeg", ".tif", ".tiff", ".png", ".heic"):
        raise NotFound(text, "no such file, and not a frame of the book", "Name a file, or a frame: 26-014-D/12.")
    with book_from(ctx, create=False) as book, book.read() as conn:
        roll = find_roll(conn, roll_text)
        frame = find_frame(conn, roll.id, label)
        picture = picture_of_frame(conn, book, frame.id)
    name = f"frame {frame.label} of roll {roll.code}"
    if picture is None:
        raise NotFound(name, "it has no scan and no positive yet", "Receive its scans, or invert its capture, first.")
    if not picture.is_there:
        raise NotFound(name, f"its {picture.origin} {picture.name} is missing from the book", "Mend it: dryside check.")
    return _Found(f"{roll.code}-{frame.label}", picture.path, frame.id, roll.code, frame.label, frame.caption or "")


def _sizes_and_copies(text: str) -> list[tuple[PrintSize, int]]:
    """`4R:10,8R`: ten of one, one of the other."""
    from dryside.film.printsizes import print_size

    wanted = []
    for part in (part for part in text.split(",") if part.strip()):
        name, _, many = part.partition(":")
        if many.strip() and not (many.strip().isdigit() and 1 <= int(many) <= 9999):
            raise Refusal(f"--size {text}", f"'{many.strip()}' is no number of copies", "Write it like 4R:10,8R:1.")
        wanted.append((print_size(name), int(many) if many.strip() else 1))
    if not wanted:
        raise Refusal("--size", "no size is named", "Write it like 4R:10,8R:1.")
    return wanted


def _part(text: str | None) -> Box | None:
    """`0.1,0,0.9,1`: left, top, right and bottom of the part that is wanted."""
    from dryside.prints.faces import Box

    if text is None:
        return None
    try:
        left, top, right, bottom = (float(side) for side in text.split(","))
    except ValueError as error:
        raise Refusal(f"--crop {text}", "not four numbers", "Write left,top,right,bottom: 0.1,0,0.9,1.") from error
    return Box(left, top, right, bottom)


def _jobs(
    found: list[_Found],
    wanted: list[tuple[PrintSize, int]],
    way: Any,
    border: float,
    at: float | None,
    part: Box | None,
) -> list[PrintJob]:
    from dryside.prints.looking import look_at, plans_for
    from dryside.prints.print_files import PrintJob

    jobs = []
    for one in found:
        plans = plans_for(look_at(one.path), [size for size, _ in wanted], way=way, border_mm=border, at=at, part=part)
        jobs += [
            PrintJob(one.path, plan, copies, one.name, one.roll, one.frame, one.caption)
            for plan, (_, copies) in zip(plans, wanted, strict=True)
        ]
    return jobs


def _wish(ppi: float, profile: str, intent: str, sharpen: float, kind: str, name: str) -> FileWish:
    from dryside.prints.colour import check_intent, profile_of
    from dryside.prints.print_files import FILE_KINDS, FileWish

    if kind not in FILE_KINDS:
        raise Refusal(f"--kind {kind}", f"print files are {', '.join(FILE_KINDS)}", "Most labs take jpeg.")
    if not 0 <= sharpen <= 3:
        raise Refusal(f"--sharpen {sharpen:g}", "it lies outside 0 to 3", "1 is usual.")
    return FileWish(ppi, profile_of(profile), check_intent(intent), sharpen, kind, name)


def _totals(wanted: list[tuple[PrintSize, int]], pictures: int, prices: list[ListedPrice]) -> list[dict[str, Any]]:
    """What the whole order costs at each lab that sells some of it."""
    from dryside.prints.pricing import order_prices

    return [vars(total) for total in order_prices([(size, copies * pictures) for size, copies in wanted], prices)]


def _prices(ctx: typer.Context, folder: Path | None, day: Any) -> list[ListedPrice]:
    """Every lab's print prices as plain lines; none where there is no book and no folder."""
    from dryside.prints.pricing import ListedPrice

    if folder is not None:
        from dryside.labs.lab_file import read_labs

        labs = read_labs(folder)
    else:
        from dryside.labs.book_labs import current_labs

        try:
            with book_from(ctx, create=False) as book, book.read() as conn:
                labs = current_labs(conn, day)
        except NotFound:
            return []
    return [ListedPrice(lab.name, one.size, one.price.amount, one.price.currency) for lab in labs for one in lab.print]


def _plan_data(plan: PrintPlan, prices: list[ListedPrice]) -> dict[str, Any]:
    from dryside.prints.pricing import prices_of

    return {
        "size": plan.size.name,
        "way": plan.way,
        "paper_mm": plan.paper_mm,
        "picture_mm": [round(side, 2) for side in plan.picture_mm],
        "border_mm": [round(side, 2) for side in plan.border_mm],
        "crop": plan.crop,
        "loss_pct": round(plan.loss_pct, 2),
        "white_pct": round(plan.white_pct, 2),
        "ppi": round(plan.ppi, 1),
        "verdict": plan.verdict.words,
        "sharp_from_mm": round(plan.verdict.sharp_from_mm),
        "usual_mm": round(plan.verdict.usual_mm),
        "remarks": plan.remarks,
        "prices": prices_of(plan.size, 1, prices),
    }


def _show_plans(
    name: str, picture: LookedAt, plans: list[PrintPlan], prices: list[ListedPrice], drawn: list[Path]
) -> None:
    from dryside.prints.pricing import prices_of

    faces = f", {len(picture.faces)} {'face' if len(picture.faces) == 1 else 'faces'} found" if picture.faces else ""
    say(f"{name}: {picture.width_px} x {picture.height_px} pixels{faces}")
    rows = []
    for plan in plans:
        cheapest = prices_of(plan.size, 1, prices)[:1]
        price = f"{cheapest[0].each} {cheapest[0].currency} at {cheapest[0].lab}" if cheapest else ""
        taken = f"{plan.loss_pct:.1f} % cut off" if plan.way == "fill" else f"{plan.white_pct:.1f} % white"
        rows.append(
            (
                plan.size.name,
                f"{plan.paper_mm[0]:g} x {plan.paper_mm[1]:g} mm",
                taken,
                f"{plan.ppi:.0f}",
                plan.verdict.words,
                price,
            )
        )
    table(("size", "paper", "picture", "ppi", "how it looks", "price"), rows, right=("ppi",))
    for remark in dict.fromkeys(remark for plan in plans for remark in plan.remarks):
        say(f"Note: {remark}.")
    for path in drawn:
        say(f"Drawn in {path}")


def _draw(folder: Path, name: str, picture: LookedAt, plans: list[PrintPlan]) -> list[Path]:
    import simplejpeg

    from dryside.book.files import put_file
    from dryside.prints.naming import safe_name
    from dryside.prints.overlay import draw_crop

    drawn = []
    for plan in plans:
        image = draw_crop(picture.small, plan, subject=picture.subject, faces=picture.faces)
        drawn.append(
            put_file(
                folder, safe_name(f"{name} {plan.size.name} crop") + ".jpg", simplejpeg.encode_jpeg(image, quality=90)
            )
        )
    return drawn
