"""Days that stand alone, as cells of a sheet have them."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryside.book.notes.days import read_day
from dryside.film.refusal import Refusal


@pytest.mark.parametrize(
    "written",
    ["2026-03-14", "2026-3-14", "20260314", "2026/3/14", "2026.03.14", "14.3.2026", "14. 3. 2026", "14 March 2026",
     "14 mar 2026", "14. März 2026", "Mar 14, 2026", "March 14th 2026", "14/03/2026", "3/14/2026", "14-03-2026",
     "Sat 14 Mar 2026", "Saturday, 14 Mar 2026", "14 de marzo de 2026", " 2026-03-14 "],
)  # fmt: skip
def test_days_are_read_as_people_type_them(written):
    assert read_day(written) == date(2026, 3, 14)


def test_day_and_month_that_may_be_either_are_asked_for():
    with pytest.raises(Refusal, match="it may be 2026-04-03 or 2026-03-04"):
        read_day("3/4/2026")
    assert read_day("3/3/2026") == date(2026, 3, 3)


def test_old_photographs_have_days():
    assert read_day("1 May 1926") == date(1926, 5, 1)


@pytest.mark.parametrize(
    ("written", "message"),
    [("31.2.2026", "there is no such day"), ("2026-02-29", "there is no such day"),
     ("2026-13-01", "there is no such day"), ("14.3.26", "not a day with its year"), ("14 March", "not a day"),
     ("0026-03-14", "the year must be 1840 to 2199"), ("1839-12-31", "the year must be"),
     ("3 marble 2026", "not a day"), ("tomorrow", "not a day"), ("", "not a day"), ("2026-03-14 or so", "not a day")],
)  # fmt: skip
def test_what_is_no_day_is_refused(written, message):
    with pytest.raises(Refusal, match=message):
        read_day(written)


@given(st.dates(date(1840, 1, 1), date(2199, 12, 31)))
def test_days_of_any_standard_spelling_read_back(day):
    for pattern in ("%Y-%m-%d", "%Y%m%d", "%d.%m.%Y", "%d %b %Y", "%B %d, %Y"):
        assert read_day(day.strftime(pattern)) == day
