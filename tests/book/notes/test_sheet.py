"""Logs kept as sheets: delimiter, encoding, columns in four languages."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryside.book.notes.noted import Assumptions
from dryside.book.notes.sheet import (
    decode,
    escape_formula,
    looks_like_sheet,
    read_sheet,
    sniff_delimiter,
    unescape_formula,
)
from dryside.film.refusal import Refusal

HERE = Assumptions(offset="+02:00", year=2026)
GERMAN = (
    "Bild;Zeit;Blende;Brennweite;Motiv;Datum;Uhrzeit;Blitz\n"
    "1;1/250;5,6;50;Möwen über der Fähre;14.7.2026;14:30;ja\n"
    "2;1/60;8;50;Kran;14.7.2026;;nein\n"
)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_a_sheet_is_read_in_whatever_encoding_it_comes(encoding):
    reading = read_sheet(decode(GERMAN.encode(encoding)), HERE)
    assert reading.problems == ()
    first, second = reading.frames
    assert first.caption == "Möwen über der Fähre"
    assert (first.shutter, first.aperture, first.focal_mm, first.flash) == ("1/250", 5.6, 50.0, True)
    assert (first.taken_at, first.taken_to) == ("2026-07-14T14:30:00+02:00", "minute")
    assert (second.taken_at, second.taken_to, second.flash) == ("2026-07-14T12:00:00+02:00", "day", False)


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
def test_the_delimiter_is_found_out(delimiter):
    text = delimiter.join(("frame", "shutter", "aperture", "caption")) + "\n" + delimiter.join(("1", "1/60", "4", "x"))
    assert sniff_delimiter(text) == delimiter
    assert looks_like_sheet("note.txt", text)
    assert not looks_like_sheet("note.txt", "1 1/250 f8 50mm harbour wall, sun behind")


def test_columns_that_mean_nothing_are_named_and_a_mapping_wins():
    text = "frame,shutter,my f,weather,subject\n1,1/60,4,rain,gulls\n"
    reading = read_sheet(text, HERE, {"aperture": "my f", "notes": "weather"})
    assert reading.frames[0].aperture == 4.0
    assert reading.frames[0].notes == "rain"
    assert read_sheet(text, HERE).remarks == ("columns left out: my f, weather",)
    with pytest.raises(Refusal, match=r"no column of that name.*Columns: frame"):
        read_sheet(text, HERE, {"aperture": "blend"})
    with pytest.raises(Refusal, match="Did you mean aperture"):
        read_sheet(text, HERE, {"apertur": "my f"})


def test_rows_that_cannot_be_read_are_named_by_their_line():
    text = 'frame,shutter,aperture,caption\n1,1/60,4,"two\nlines"\n2,fast,8,x\n2,1/60,8,y\n2,1/30,8,again\n'
    reading = read_sheet(text, HERE)
    assert [frame.label for frame in reading.frames] == ["1", "2"]
    assert reading.frames[0].caption == "two\nlines"
    assert [problem.line for problem in reading.problems] == [4, 6]
    assert "line 5 has it already" in reading.problems[1].found


def test_rows_without_a_number_count_on_and_blank_rows_do_not():
    reading = read_sheet("shutter,aperture,caption\n1/60,4,gulls\n,,\n1/30,8,blank\n", HERE)
    assert [(frame.label, frame.blank) for frame in reading.frames] == [("1", False), ("2", True)]


def test_what_is_no_sheet_is_refused():
    with pytest.raises(Refusal, match="it is empty"):
        read_sheet("\n\n", HERE)
    with pytest.raises(Refusal, match="no column for frame"):
        read_sheet("a,b\n1,2\n", HERE)
    with pytest.raises(Refusal, match="this is no text"):
        decode(b"\x89PNG\x00\x00\x00")


# The characters that a spreadsheet may take for a formula: the list of a public web-security project's page on CSV
# injection (value from memory).
@given(st.text(max_size=30))
def test_a_cell_never_begins_a_formula_and_comes_back_the_same(cell):
    escaped = escape_formula(cell)
    try:
        float(cell)
    except ValueError:
        assert not escaped.startswith(("=", "+", "-", "@", "\t", "\r"))
    if not cell.startswith("'"):
        assert unescape_formula(escaped) == cell


def test_signed_numbers_stay_numbers():
    assert escape_formula("-8.6109") == "-8.6109"
    assert escape_formula("=1+1") == "'=1+1"
    assert escape_formula("-2+3") == "'-2+3"


@given(st.binary(max_size=400))
def test_any_bytes_are_read_or_refused(content):
    try:
        read_sheet(decode(content), HERE)
    except Refusal as refusal:
        assert str(refusal)
