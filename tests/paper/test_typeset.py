"""Typesetting: same data same bytes, strange letters, a person's own templates, and errors with their line."""

from __future__ import annotations

import io
import logging
from datetime import date
from decimal import Decimal

import pypdfium2
import pytest
import zxingcpp
from pypdf import PdfReader

from dryside.film.refusal import NotFound, Refusal
from dryside.paper.codes import qr_svg
from dryside.paper.typeset import copy_templates, template_names, typeset

HEAD = '#import "common.typ": *\n#let data = json("data.json")\n#show: sheet.with(data)\n'
PLAIN = HEAD + "#data.text"


@pytest.fixture
def own(tmp_path):
    """A folder of a person's own templates, made from name and source."""

    def write(**templates):
        for name, source in templates.items():
            (tmp_path / f"{name}.typ").write_text(source, encoding="utf-8")
        return tmp_path

    return write


def text_of(pdf: bytes) -> str:
    return "\n".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages)


def test_the_same_data_give_the_same_bytes(own):
    folder = own(note=PLAIN)
    once, twice = (
        typeset("note", {"text": "Pier in fog", "made_on": date(2026, 9, 1)}, templates=folder) for _ in "ab"
    )
    assert once == twice
    assert once != typeset("note", {"text": "Pier in fog", "made_on": date(2026, 9, 2)}, templates=folder)


def test_a_page_is_pdf_a_2b(own):
    pdf = typeset("note", {"text": "Pier"}, templates=own(note=PLAIN))
    # ISO 19005-2, 6.6.4: the version identification schema in the document's XMP.
    assert b"<pdfaid:part>2</pdfaid:part>" in pdf
    assert b"<pdfaid:conformance>B</pdfaid:conformance>" in pdf


# A4 from ISO 216 (210 x 297 mm); US Letter from ANSI/ASME Y14.1 (8.5 x 11 in), in points of 1/72 in.
@pytest.mark.parametrize(("page", "width_pt", "height_pt"), [("a4", 595.276, 841.89), ("letter", 612, 792)])
def test_pages_have_the_size_of_their_standard(own, page, width_pt, height_pt):
    pdf = typeset("note", {"text": "Pier", "page": page}, templates=own(note=PLAIN))
    box = PdfReader(io.BytesIO(pdf)).pages[0].mediabox
    assert (float(box.width), float(box.height)) == pytest.approx((width_pt, height_pt), abs=0.05)


@pytest.mark.parametrize(
    "text", ["Ærøskøbing, Łódź, İzmir, Đà Nẵng", "Ελένη", "Юлия Щукина", "#emph[not] *markup* $5$ \\ @x"]
)
def test_text_prints_as_typed_whatever_its_letters_or_signs(own, text):
    printed = text_of(typeset("note", {"text": text}, templates=own(note=PLAIN)))
    assert "".join(text.split()) in "".join(printed.split())


def test_the_letters_come_with_dryside_not_from_the_machine(own):
    reader = PdfReader(io.BytesIO(typeset("note", {"text": "Łódź Ελ Юл"}, templates=own(note=PLAIN))))
    fonts = reader.pages[0]["/Resources"]["/Font"].values()
    assert {font.get_object()["/BaseFont"].split("+")[1] for font in fonts} == {"DejaVuSans"}


def test_a_letter_no_font_has_prints_as_a_box_and_is_named(own, caplog):
    with caplog.at_level(logging.WARNING):
        # U+0378 is assigned to no letter (Unicode 15.0, block Greek and Coptic), so no font draws it.
        pdf = typeset("note", {"text": "Pier \u0378 end"}, templates=own(note=PLAIN))
    assert "Pier ▯ end" in text_of(pdf)
    assert "no font on this machine has \u0378" in caplog.text


def test_a_persons_own_template_wins_over_the_shipped_one(tmp_path):
    written = copy_templates(tmp_path)
    assert {path.stem for path in written} == {*template_names(), "common"}
    (tmp_path / "note.typ").write_text(PLAIN)
    changed = (tmp_path / "common.typ").read_text().replace("size: 9pt", "size: 30pt")
    (tmp_path / "common.typ").write_text(changed)
    assert copy_templates(tmp_path) == []  # nothing of hers is overwritten
    size = PdfReader(io.BytesIO(typeset("note", {"text": "Pier"}, templates=tmp_path))).pages[0]
    seen = []
    size.extract_text(visitor_text=lambda text, cm, tm, font, points: seen.append(points) if text.strip() else None)
    assert max(seen) == pytest.approx(30)


def test_an_error_names_the_template_and_the_line(own):
    with pytest.raises(Refusal, match=r"note\.typ, line 3: unknown variable: lab_name"):
        typeset("note", {}, templates=own(note="#let a = 1\n\n#lab_name"))


def test_a_template_that_is_not_there_is_named_with_those_that_are(own):
    with pytest.raises(NotFound, match=r"template 'nota': there is no such template. There are: .*note"):
        typeset("nota", {}, templates=own(note=PLAIN))


def test_missing_folders_and_pictures_are_named(tmp_path):
    with pytest.raises(NotFound, match="no such folder of templates"):
        typeset("note", {}, templates=tmp_path / "gone")
    (tmp_path / "note.typ").write_text(PLAIN)
    with pytest.raises(NotFound, match=r"frame\.jpg: there is no such picture"):
        typeset("note", {}, templates=tmp_path, images={"a.jpg": tmp_path / "frame.jpg"})


def test_days_and_money_reach_the_page_as_written(own):
    data = {"text": "", "day": date(2026, 12, 31), "price": Decimal("7.00")}
    printed = text_of(typeset("note", data, templates=own(note=PLAIN + " #data.day #data.price")))
    assert "2026-12-31 7.00" in printed


def test_what_cannot_be_printed_is_a_programming_error(own):
    with pytest.raises(TypeError, match="cannot be printed"):
        typeset("note", {"text": object()}, templates=own(note=PLAIN))


@pytest.mark.parametrize("text", ["26-014-K", "https://book.example/rolls/26-014-K?from=label"])
def test_a_qr_code_reads_back_from_the_rendered_page_at_12_mm(own, text):
    source = (
        '#import "common.typ": *\n#let data = json("data.json")\n#show: sheet.with(data)\n#image("qr.svg", width: 12mm)'
    )
    pdf = typeset("code", {}, images={"qr.svg": qr_svg(text)}, templates=own(code=source))
    picture = pypdfium2.PdfDocument(pdf)[0].render(scale=300 / 72).to_pil()
    assert [found.text for found in zxingcpp.read_barcodes(picture)] == [text]
