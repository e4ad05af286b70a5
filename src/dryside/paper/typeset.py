"""Typeset a page: a Typst template and plain data in, the bytes of a PDF/A-2b out.

A template reads its data with ``#let data = json("data.json")`` and its pictures by the names they were given. Text
reaches it as strings, never as markup, so that a caption like ``#emph`` or ``$5`` prints as it was typed.
"""

from __future__ import annotations

import json
import logging
import re
import tempfile
from collections.abc import Mapping
from datetime import UTC, date, datetime
from decimal import Decimal
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from dryside.film.refusal import NotFound, Refusal

if TYPE_CHECKING:
    import typst

TEMPLATES = Path(__file__).parent / "templates"
PAGES = {"a4": "a4", "letter": "us-letter"}  # what a person writes, and Typst's name for it
# A page's date where the data give none: fixed, so that the same data always give the same bytes.
_NO_DATE = datetime(2000, 1, 1, tzinfo=UTC)
_MISSING_GLYPH = re.compile(r'the text `"(.+?)"` could not be displayed')
_PLACE = re.compile(r"┌─ (?:.*/)?(?P<template>[^/\s:]+):(?P<line>\d+):\d+")
_BOX = "▯"

log = logging.getLogger(__name__)


def typeset(
    template: str,
    data: Mapping[str, Any],
    *,
    images: Mapping[str, bytes | Path] | None = None,
    templates: Path | None = None,
) -> bytes:
    """Typeset one document.

    The text is set in an open font that comes with Dryside's libraries, so that a machine without fonts prints the
    same. Letters it lacks (Chinese, Japanese, Korean, pictographs) are taken from the machine's own fonts; where
    there is none a box is printed and a warning logged.

    Parameters
    ----------
    template : str
        Name of the template without its ending: ``"order_sheet"``.
    data : mapping of str
        What the template prints: text, numbers, lists, mappings, ``Decimal`` (as text), ``date`` and ``datetime``
        (ISO 8601). ``made_on``, a day, becomes the document's date.
    images : mapping of str to bytes or Path, optional
        Pictures (PNG, JPEG, SVG) by the name the template uses: ``{"frames/01.jpg": path}``.
    templates : Path, optional
        A folder of copied and changed templates. A file in it wins over the one shipped under the same name.

    Returns
    -------
    bytes
        A PDF/A-2b. The same template, data and images give the same bytes.

    Raises
    ------
    NotFound
        If there is no template of that name, or `templates` or a picture is not there.
    Refusal
        If the template does not compile: names the template and the line.
    """
    with tempfile.TemporaryDirectory(prefix="dryside-paper-") as folder:
        root = Path(folder)
        _lay_out_templates(root, templates)
        main = root / f"{template}.typ"
        if not main.is_file():
            raise NotFound(f"template '{template}'", "there is no such template", f"There are: {_names(root)}.")
        _lay_out_images(root, images or {})
        return _compile(main, root, data)


def typeset_png(
    template: str,
    data: Mapping[str, Any],
    *,
    ppi: int,
    images: Mapping[str, bytes | Path] | None = None,
    templates: Path | None = None,
) -> list[bytes]:
    """The pages that `typeset` makes as PNG pictures, one a page, at `ppi` pixels an inch.

    Raises
    ------
    NotFound, Refusal
        As `typeset`.
    """
    return _pictures(template, data, "png", ppi, images, templates)


def typeset_svg(template: str, data: Mapping[str, Any]) -> list[bytes]:
    """The pages that `typeset` makes as SVG drawings of their true size, one a page, letters drawn as outlines.

    Raises
    ------
    NotFound, Refusal
        As `typeset`.
    """
    return _pictures(template, data, "svg", None, None, None)


def _pictures(
    template: str,
    data: Mapping[str, Any],
    form: Literal["png", "svg"],
    ppi: int | None,
    images: Mapping[str, bytes | Path] | None,
    templates: Path | None,
) -> list[bytes]:
    import typst

    with tempfile.TemporaryDirectory(prefix="dryside-paper-") as folder:
        root = Path(folder)
        _lay_out_templates(root, templates)
        main = root / f"{template}.typ"
        if not main.is_file():
            raise NotFound(f"template '{template}'", "there is no such template", f"There are: {_names(root)}.")
        _lay_out_images(root, images or {})
        (root / "data.json").write_text(json.dumps(data, ensure_ascii=False, default=_plain), encoding="utf-8")
        fonts = typst.Fonts(include_system_fonts=True, font_paths=[str(_lay_out_fonts(root))])
        try:
            pages = typst.Compiler(input=str(main), root=str(root), font_paths=fonts).compile(format=form, ppi=ppi)
        except typst.TypstError as error:
            raise _refusal(main.stem, error) from error
        return [pages] if isinstance(pages, bytes) else list(pages or ())


def template_names() -> list[str]:
    """Names of the shipped templates that make a document (not the parts they share), sorted."""
    return sorted(path.stem for path in TEMPLATES.glob("*.typ") if path.stem != "common")


def copy_templates(folder: Path) -> list[Path]:
    """Copy the shipped templates to `folder` for a person to change; what is there already is left as it is.

    Returns
    -------
    list of Path
        The files written, none of which was there before.
    """
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for path in sorted(TEMPLATES.glob("*.typ")):
        target = folder / path.name
        if not target.exists():
            target.write_bytes(path.read_bytes())
            written.append(target)
    return written


def _lay_out_templates(root: Path, templates: Path | None) -> None:
    """Ours first, then the person's own over them."""
    if templates is not None and not templates.is_dir():
        raise NotFound(str(templates), "there is no such folder of templates", "Name a folder that holds *.typ files.")
    for folder in (TEMPLATES, templates):
        for path in folder.glob("*.typ") if folder else ():
            (root / path.name).write_bytes(path.read_bytes())


def _lay_out_images(root: Path, images: Mapping[str, bytes | Path]) -> None:
    """Put each picture where the template looks for it; a picture on disk is linked, not copied."""
    for name, picture in images.items():
        target = root / name
        target.parent.mkdir(parents=True, exist_ok=True)
        if isinstance(picture, bytes):
            target.write_bytes(picture)
        elif picture.is_file():
            target.symlink_to(picture.resolve())
        else:
            raise NotFound(str(picture), "there is no such picture", "Print the page again without it, or put it back.")


def _compile(main: Path, root: Path, data: Mapping[str, Any]) -> bytes:
    """Compile; widen the fonts, then give up single letters, only where the shipped font lacks one."""
    import typst

    text = json.dumps(data, ensure_ascii=False, default=_plain)
    fonts, system = str(_lay_out_fonts(root)), False
    while True:
        (root / "data.json").write_text(text, encoding="utf-8")
        compiler = typst.Compiler(
            input=str(main), root=str(root), font_paths=typst.Fonts(include_system_fonts=system, font_paths=[fonts])
        )
        try:
            pdf = compiler.compile(format="pdf", pdf_standards="a-2b", timestamp=_made(data))
            assert isinstance(pdf, bytes)
            return pdf
        except typst.TypstError as error:
            missing = _missing_letters(error.diagnostic)
            if not missing or (system and not missing & set(text)):
                raise _refusal(main.stem, error) from error
            if system:
                log.warning("no font on this machine has %s; a box is printed instead", " ".join(sorted(missing)))
                text = text.translate({ord(letter): _BOX for letter in missing})
            system = True


def _missing_letters(diagnostic: str) -> set[str]:
    """Letters no font has, from the typesetter's words, which write some of them as ``\\u{378}``."""
    found = "".join(_MISSING_GLYPH.findall(diagnostic))
    return set(re.sub(r"\\u\{([0-9a-f]+)\}", lambda code: chr(int(code[1], 16)), found))


def _refusal(template: str, error: typst.TypstError) -> Refusal:
    """The template, the line, and what the typesetter said."""
    place = _PLACE.search(error.diagnostic)
    where = f"{place['template']}, line {place['line']}" if place else f"{template}.typ"
    hints = " ".join(f"{hint[:1].upper()}{hint[1:]}." for hint in error.hints)
    return Refusal(where, error.message, hints or "Mend the template, or delete your copy to have the shipped one.")


def _made(data: Mapping[str, Any]) -> datetime:
    """The instant written into the PDF: the data's own day, not the clock's."""
    made_on = data.get("made_on")
    if isinstance(made_on, str):
        made_on = date.fromisoformat(made_on[:10])
    return datetime(made_on.year, made_on.month, made_on.day, tzinfo=UTC) if isinstance(made_on, date) else _NO_DATE


def _plain(value: object) -> str:
    """Text of what JSON does not know."""
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Decimal):
        return str(value)
    raise TypeError(f"{value!r} cannot be printed: give text, a number, a day, a list or a mapping")


def _lay_out_fonts(root: Path) -> Path:
    """A folder with DejaVu Sans, as Matplotlib carries it: Latin with all accents, Greek, Cyrillic.

    The package is found, not imported: importing it would cost more than typesetting the page.
    """
    package = find_spec("matplotlib")
    assert package is not None
    assert package.origin is not None
    shipped = Path(package.origin).parent / "mpl-data" / "fonts" / "ttf"
    folder = root / "fonts"
    folder.mkdir()
    # Only these: the folder's 'last resort' font has a box for every letter and would hide the machine's own fonts.
    for path in shipped.glob("DejaVuSans*.ttf"):
        (folder / path.name).symlink_to(path)
    return folder


def _names(root: Path) -> str:
    return ", ".join(sorted(path.stem for path in root.glob("*.typ") if path.stem != "common"))
