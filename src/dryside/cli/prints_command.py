"""Prints: which size a picture bears, print files for a lab, sheets for one's own printer, index prints, soft proof."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from dryside.cli.support import AsJson, Today, book_from, print_json, say, table, today
from dryside.film.refusal import NotFound

if TYPE_CHECKING:
    from dryside.film.printsizes import PrintSize
    from dryside.prints.fitting import PrintPlan
    from dryside.prints.looking import LookedAt
    from dryside.prints.pricing import ListedPrice

app = typer.Typer(
    help="Print sizes that fit; print files, sheets, index prints.", no_args_is_help=True, add_completion=False
)

Pictures = Annotated[list[str], typer.Argument(metavar="PICTURE...", help="Files, or frames of the book: 26-014-K/12.")]
Sizes = Annotated[
    str | None, typer.Option("--size", "-s", metavar="8R,20x30cm", help="Sizes, comma between; else all that are sold.")
]
Fit = Annotated[bool, typer.Option("--fit", help="Print the picture whole, with white; else the paper is filled.")]
Border = Annotated[float, typer.Option("--border", metavar="MM", help="White on all sides.")]
CropAt = Annotated[
    float | None,
    typer.Option("--crop-at", metavar="0..1", help="Place the crop by hand: 0 keeps the left or top end, 1 the other."),
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
    for name, path in _paths(ctx, pictures):
        picture = look_at(path)
        plans = plans_for(picture, sizes, way="fit" if fit else "fill", border_mm=border, at=crop_at)
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


# --- what the commands share -------------------------------------------------------------------------------------


def _sizes(text: str | None) -> list[PrintSize] | None:
    from dryside.film.printsizes import print_size

    return None if text is None else [print_size(part) for part in text.split(",") if part.strip()]


def _paths(ctx: typer.Context, pictures: list[str]) -> list[tuple[str, Path]]:
    """Name and file of each picture; a frame whose scan is gone or was never made is refused by name."""
    found = []
    for text in pictures:
        path = Path(text)
        found.append((path.stem, path) if path.is_file() else _frame_path(ctx, text))
    return found


def _frame_path(ctx: typer.Context, text: str) -> tuple[str, Path]:
    from dryside.book.frame_pictures import picture_of_frame
    from dryside.book.frames import find_frame
    from dryside.book.rolls import find_roll

    roll_text, _, label = text.partition("/")
    if not label or Path(text).suffix.lower() in (".jpg", ".jpeg", ".tif", ".tiff", ".png", ".heic"):
        raise NotFound(text, "no such file, and not a frame of the book", "Name a file, or a frame: 26-014-K/12.")
    with book_from(ctx, create=False) as book, book.read() as conn:
        roll = find_roll(conn, roll_text)
        frame = find_frame(conn, roll.id, label)
        picture = picture_of_frame(conn, book, frame.id)
    name = f"frame {frame.label} of roll {roll.code}"
    if picture is None:
        raise NotFound(name, "it has no scan and no positive yet", "Receive its scans, or invert its capture, first.")
    if not picture.is_there:
        raise NotFound(name, f"its {picture.origin} {picture.name} is missing from the book", "Mend it: dryside check.")
    return f"{roll.code}-{frame.label}", picture.path


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
