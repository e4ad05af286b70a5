"""Rolls as CSV: right readings of what spreadsheets write, and refusals that name the line."""

from __future__ import annotations

from datetime import date
from fractions import Fraction

import pytest

from dryside.film.refusal import NotFound, Refusal
from dryside.labs.rolls import parse_prints, read_roll_file, read_rolls

HEAD = "roll,process,format,push,scan,prints,need_by,owner\n"
START = date(2026, 9, 1)


def only(text, **options):
    (wish,) = read_rolls(text.encode() if isinstance(text, str) else text, **options).wishes
    return wish


def test_every_column_is_read():
    wish = only(
        "roll,process,format,push,scan,prints,need_by,owner,rush,apart,stock\n"
        "A1,C-41,35 mm,+1,standard,4R:10;8R:1,2026-09-30,Ilse,yes,wedding,Tidewater 400\n"
    )
    assert (wish.roll, wish.process, wish.format, wish.push_stops) == ("A1", "c41", "135", 1)
    assert (wish.scan, wish.prints, wish.need_by) == ("standard", (("4R", 10), ("8R", 1)), date(2026, 9, 30))
    assert (wish.owner, wish.rush, wish.apart, wish.stock) == ("Ilse", True, {"wedding"}, "Tidewater 400")


def test_what_is_left_empty_is_not_wanted():
    wish = only("roll,process,format\nA1,bw,120-6x6\n")
    assert (wish.scan, wish.prints, wish.need_by, wish.owner, wish.rush, wish.apart) == (
        None, (), None, None, False, frozenset(),
    )  # fmt: skip
    assert only(HEAD + "A1,bw,135,,none,,,\n").scan is None


def test_a_windows_sheet_with_semicolons_decimal_commas_and_accents_is_read():
    text = "roll;process;format;push;scan;prints;need_by;owner\r\n"
    text += 'A1;c41;135;0,5;standard;"4R:10;8R:1";;Zoé Lança…\r\n'
    wish = only(text.encode("cp1252"))
    assert (wish.push_stops, wish.prints, wish.owner) == (Fraction(1, 2), (("4R", 10), ("8R", 1)), "Zoé Lança…")


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
def test_any_delimiter_and_unicode_encoding_is_read(encoding, delimiter):
    text = delimiter.join(["roll", "process", "format", "owner"]) + "\n" + delimiter.join(["A1", "e6", "135", "Ελένη"])
    assert only(text.encode(encoding)).owner == "Ελένη"


def test_a_sheet_may_say_its_delimiter_and_name_columns_in_any_order_and_case():
    assert only("sep=;\nOwner;Need by;FORMAT;Roll;Process\nRui;2026-09-09;135;A1;bw\n").need_by == date(2026, 9, 9)


def test_empty_lines_and_remarks_are_passed_over_and_odd_columns_named():
    read = read_rolls(b"roll,process,format,weather\n\n# a remark\nA1,bw,135,fog\n,,,\n")
    assert [wish.roll for wish in read.wishes] == ["A1"]
    assert read.unread_columns == ("weather",)


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        ("A1,c41,135,,,,,\nA2,bw,135,,,,,\nA1,c41,135,,,,,\n", r"line 4: roll A1 stands in line 2 already"),
        ("a1,c41,135,,,,,\nA1,c41,135,,,,,\n", r"line 3: roll A1 stands in line 2 already"),
        ("A1,c41,135,,,,2026-08-31,\n", r"line 2, roll A1: need_by 2026-08-31 is past: the plan begins on 2026-09-01"),
        ("A1,c41,135,,,,soon,\n", r"line 2, roll A1: need_by 'soon' is no day"),
        ("A1,c41,136,,,,,\n", r"line 2, roll A1: format '136': no film format of that name\. Near it: 135"),
        ("A1,c42,135,,,,,\n", r"line 2, roll A1: process 'c42': .* Did you mean c41"),
        ("A1,k14,135,,,,,\n", r"K-14 is run no more"),
        ("A1,c41,135,+3/4,,,,\n", r"line 2, roll A1: push '\+3/4': neither thirds nor halves"),
        ("A1,c41,135,,,10 prints,,\n", r"line 2, roll A1: prints '10 prints' is no size with a number"),
        (",c41,135,,,,,\n", r"line 2: the roll has no name"),
        ("A1,c41,135,,,4R:1,2026-09-09,Rui,extra\n", r"line 2: the line has 9 cells, the first line names 8"),
        ('A1,c41,135,,,"4R:1,,\n', r"line \d: the line is not well-formed CSV"),
    ],
)
def test_what_is_wrong_names_the_line_and_the_remedy(rows, message):
    with pytest.raises(Refusal, match=message) as caught:
        read_rolls((HEAD + rows).encode(), start=START)
    assert caught.value.thing.startswith("rolls.csv")
    assert caught.value.remedy


def test_a_missing_column_is_named_with_the_one_that_may_be_meant():
    with pytest.raises(Refusal, match=r"there is no column 'process'\. Is it 'proces'\?"):
        read_rolls(b"roll,proces,format\nA1,c41,135\n")
    with pytest.raises(Refusal, match="column roll stands twice"):
        read_rolls(b"roll,roll,process,format\nA1,A1,c41,135\n")
    with pytest.raises(Refusal, match="neither yes nor no"):
        read_rolls(b"roll,process,format,rush\nA1,c41,135,perhaps\n")


def test_what_is_no_text_or_not_there_is_refused(tmp_path):
    with pytest.raises(Refusal, match="this is no text file"):
        read_rolls(b"PK\x03\x04\x00\x00")
    with pytest.raises(Refusal, match="there is no roll in it"):
        read_rolls(b"\n")
    with pytest.raises(NotFound, match="cannot be read"):
        read_roll_file(tmp_path / "gone.csv")


def test_prints_of_one_size_are_added_up_and_none_left_out():
    assert parse_prints("4R:10; 8R:1 ;4r:2;2R:0") == (("4R", 12), ("8R", 1))
    assert parse_prints("") == ()
