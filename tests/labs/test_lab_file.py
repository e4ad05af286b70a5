"""A lab's file: read as it is meant, or refused with the line and the remedy."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest

from dryside.film.refusal import NotFound, Refusal
from dryside.labs.lab_file import LabProblems, read_lab, read_lab_file, read_labs
from labs.lab_maker import QUAY, TERN


def without(text, line):
    return text.replace(line + "\n", "", 1)


def test_the_fixed_form_is_read_in_full():
    lab = read_lab(QUAY)
    assert (lab.name, lab.currency, lab.country, lab.subdivision) == ("Quay Street Film", "EUR", "PT", None)
    assert lab.closed == {6, 0}
    assert lab.closed_dates == {date(2026, 12, 24)}
    assert (lab.holds_negatives_days, lab.prices_as_of) == (60, date(2026, 9, 1))
    (develop,) = lab.develop
    assert (develop.process, develop.formats, develop.working_days) == ("c41", ("135", "120"), 1)
    assert develop.price.amount == Decimal("7.00") and develop.push_per_stop.amount == Decimal("2.50")
    assert develop.hand_days == frozenset()
    assert (lab.scan[0].name, lab.scan[0].long_edge_px) == ("standard", 3000)
    assert (lab.print[0].size, lab.print[0].price.amount) == ("4R", Decimal("0.50"))


def test_optional_keys_are_read():
    extra = (
        'machine = "dip-and-dunk"\nreturns = ["uncut", "sleeved"]\nscans_kept_days = 30\nreturns_minimum_rolls = 4\n'
    )
    extra += 'address = "Rua do Cais 3"\nphone = "000"\nweb = "https://quay.example"\nhours = "10-18"\n'
    extra += 'notes = "ring twice"\n'
    rush = '[[rush]]\nprocesses = ["c41"]\nworking_days = 0\nprice = "6.00"\n'
    lab = read_lab(extra + QUAY + rush)
    assert lab.machine == ("dip-and-dunk",)
    assert lab.returns == ("uncut", "sleeved")
    assert (lab.scans_kept_days, lab.returns_minimum_rolls) == (30, 4)
    assert (lab.rush[0].processes, lab.rush[0].working_days) == (("c41",), 0)
    assert (lab.address, lab.hours, lab.notes) == ("Rua do Cais 3", "10-18", "ring twice")


@pytest.mark.parametrize("country", ['country = "PT-20"', 'country = "PT"\nsubdivision = "20"', 'country = "pt-20"'])
def test_a_part_of_a_country_is_written_either_way(country):
    lab = read_lab(QUAY.replace('country = "PT"', country))
    assert (lab.country, lab.subdivision) == ("PT", "20")


@pytest.mark.parametrize("written", ['"7.00"', "7.00", '"7"', "7", '" 7.00 "'])
def test_a_price_is_exact_in_quotes_and_as_a_bare_number(written):
    lab = read_lab(QUAY.replace('price = "7.00"', f"price = {written}"))
    assert lab.develop[0].price.amount == Decimal("7.00")


def test_a_bare_number_is_never_taken_through_binary_fractions():
    assert str(read_lab(QUAY.replace('"0.50"', "0.35")).print[0].price.amount) == "0.35"


# Each: what is changed, the line the message must name, what it must say and advise.
WRONG = [
    ('price = "7.00"', 'price = "7.0.0"', 14, "price '7.0.0' has two decimal points", 'price = "7.00"'),
    ('price = "7.00"', 'price = "7,00"', 14, "decimal comma", 'price = "7.00"'),
    ('price = "7.00"', 'price = "-7.00"', 14, "a price is never negative", "without the sign"),
    ('price = "7.00"', 'price = "seven"', 14, "no amount of money", "one decimal point"),
    ('price = "7.00"', 'price = "7.005"', 14, "finer than EUR is paid", "at most 2 digits"),
    ('price = "7.00"', "price = true", 14, "price is true", 'price = "7.00"'),
    ("long_edge_px = 3000", "long_egde_px = 3000", 21, "no key 'long_egde_px' in \\[\\[scan\\]\\]", "'long_edge_px'"),
    ("postage = ", "postge = ", 9, "no key 'postge'", "Did you mean 'postage'"),
    ('price = "0.50"', "", 24, "price is missing in \\[\\[print\\]\\]", "Add a line"),
    ('closed = ["Sunday", "Monday"]', 'closed = ["Sunnday"]', 4, "'Sunnday' in closed is no weekday", '"Sunday"'),
    ('closed = ["Sunday", "Monday"]', "closed = 7", 4, "closed is 7, a list is needed", "Sunday"),
    ('name = "Quay Street Film"', 'name = ""', 1, "name is empty", "Quay Street Film"),
    ('name = "Quay Street Film"', "name = 12", 1, "name is 12, not text", 'name = "12"'),
    ('currency = "EUR"', 'currency = "eur"', 2, "three capital letters", '"EUR"'),
    ('currency = "EUR"', 'currency = "Euro"', 2, "three capital letters", "EUR"),
    ('country = "PT"', 'country = "QQ"', 3, "no public holidays are known", "closed_dates"),
    ('country = "PT"', 'country = "PT-77"', 3, "no part '77' of PT", "Near it"),
    ("closed_dates = [2026-12-24]", 'closed_dates = ["24.12.2026"]', 5, "is no day", "2026-12-24"),
    ("holds_negatives_days = 60", "holds_negatives_days = -1", 6, "whole number from 0", "holds_negatives_days = 1"),
    ("prices_as_of = 2026-09-01", 'prices_as_of = "soon"', 7, "is no day", "2026-12-24"),
    ("working_days = 1", "working_days = 1.5", 16, "whole number", "working_days = 1"),
    ("working_days = 1", "", 11, "working_days is missing", "Add a line"),
    ("hand_days = []", 'hand_days = ["Monday"]', 17, "closed on all of them", "on which it is open"),
    ('process = "c41"', 'process = "c42"', 12, "process 'c42'", "c41"),
    ('formats = ["135", "120"]', 'formats = ["136"]', 13, "format '136'", "135"),
    ('formats = ["135", "120"]', "formats = []", 13, "formats is empty", "formats"),
    ('name = "standard"', 'name = "none"', 20, "no scan is wanted", "another name"),
    ("long_edge_px = 3000", "long_edge_px = 0", 21, "from 1", "long_edge_px"),
    ("[[print]]", "[print]", 24, "stands once", "two brackets"),
]


@pytest.mark.parametrize(
    ("old", "new", "line", "found", "remedy"), WRONG, ids=[one[1] or f"no {one[0]}" for one in WRONG]
)
def test_what_is_wrong_is_said_with_its_line_and_the_remedy(old, new, line, found, remedy):
    text = QUAY.replace(old, new, 1) if new else without(QUAY, old)
    with pytest.raises(LabProblems, match=found) as caught:
        read_lab(text, source="quay.toml")
    (problem,) = caught.value.problems
    assert problem.thing == f"quay.toml, line {line}"
    assert remedy in problem.remedy


def test_a_lab_without_a_name_or_currency_or_work_is_refused_with_each():
    with pytest.raises(LabProblems, match="name is missing") as caught:
        read_lab("closed = []\n", source="empty.toml")
    assert [one.found for one in caught.value.problems] == [
        "name is missing", "currency is missing", "it develops nothing",
    ]  # fmt: skip
    assert all(one.remedy for one in caught.value.problems)


def test_all_problems_are_told_at_once_in_the_order_of_the_file():
    text = QUAY.replace('"7.00"', '"7..00"').replace('["Sunday", "Monday"]', '["Sontag"]').replace('"0.50"', '"-1"')
    with pytest.raises(LabProblems, match="Also") as caught:
        read_lab(text, source="quay.toml")
    assert [one.thing for one in caught.value.problems] == [f"quay.toml, line {line}" for line in (4, 14, 26)]
    assert len(caught.value.as_dict()["problems"]) == 3


@pytest.mark.parametrize(
    ("text", "line", "remedy"),
    [
        ('name = "Quay"\ncurrency = EUR\n', 2, "quotes"),
        ('name = "Quay"\nprice = 7,00\n', 2, "one decimal point"),
        ('name = "Quay"\nname = "Again"\n', 2, ""),
        ('name = "Quay\n', 1, "quotes"),
    ],
)
def test_what_is_no_toml_is_told_with_its_line(text, line, remedy):
    with pytest.raises(LabProblems, match=rf"quay.toml, line {line}: this is not TOML") as caught:
        read_lab(text, source="quay.toml")
    assert remedy in caught.value.problems[0].remedy


def test_a_day_that_does_not_exist_is_refused():
    with pytest.raises(LabProblems, match=r"2026-02-30|day|not TOML"):
        read_lab(QUAY.replace("2026-12-24", "2026-02-30"))


def test_every_weekday_closed_and_a_scan_listed_twice_are_refused():
    days = '["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"]'
    with pytest.raises(LabProblems, match="every weekday is closed"):
        read_lab(QUAY.replace('["Sunday", "Monday"]', days))
    with pytest.raises(LabProblems, match="line 27: scan 'standard' is listed twice"):
        read_lab(QUAY + '[[scan]]\nname = "Standard"\nprice = "6.00"\n', source="q")


def test_a_folder_is_read_by_name_and_a_name_given_twice_refused(tmp_path):
    (tmp_path / "b.toml").write_text(QUAY)
    (tmp_path / "a.toml").write_text(TERN)
    assert [lab.name for lab in read_labs(tmp_path)] == ["Quay Street Film", "Tern & Daughter"]
    (tmp_path / "c.toml").write_text(QUAY)
    with pytest.raises(Refusal, match=r"c\.toml: 'Quay Street Film' is also the name in b\.toml"):
        read_labs(tmp_path)


def test_missing_files_and_other_encodings_are_told(tmp_path):
    with pytest.raises(NotFound, match="there is no such folder"):
        read_labs(tmp_path / "gone")
    with pytest.raises(NotFound, match="there is no lab in it"):
        read_labs(tmp_path)
    with pytest.raises(NotFound, match="cannot be read"):
        read_lab_file(tmp_path / "gone.toml")
    (tmp_path / "old.toml").write_bytes(QUAY.replace("Quay", "Caf\u00e9").encode("cp1252"))
    with pytest.raises(Refusal, match=r"old\.toml, line 1: this is not UTF-8"):
        read_lab_file(tmp_path / "old.toml")


def test_a_file_with_a_mark_and_windows_line_ends_keeps_its_line_numbers(tmp_path):
    path = tmp_path / "quay.toml"
    path.write_bytes(("\ufeff" + QUAY.replace("\n", "\r\n")).encode())
    assert read_lab_file(path).name == "Quay Street Film"
    path.write_bytes(QUAY.replace('"7.00"', '"7..0"').replace("\n", "\r\n").encode())
    with pytest.raises(LabProblems, match="line 14"):
        read_lab_file(path)
