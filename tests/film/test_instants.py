"""Dates, times and offsets as people type them."""

from datetime import UTC, date, datetime, time, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryside.film import instants as i
from dryside.film.refusal import Refusal

DAY = date(2026, 3, 14)
days = st.dates(date(1840, 1, 1), date(2199, 12, 31))
clocks = st.times().map(lambda one: one.replace(microsecond=0, tzinfo=None))
offsets = st.integers(-14 * 4, 14 * 4).map(lambda quarters: timedelta(minutes=15 * quarters))


@pytest.mark.parametrize(
    "written",
    ["2026-03-14", "2026-3-14", "20260314", "2026/3/14", "2026:03:14", "2026.03.14", "14.3.2026", "14. 3. 2026",
     "14 March 2026", "14 mar 2026", "14. March 2026", "Mar 14, 2026", "March 14th 2026", "14/03/2026", "3/14/2026",
     "14-03-2026", "Sat 14 Mar 2026", "Saturday, 14 Mar 2026", " 2026-03-14 "],
)  # fmt: skip
def test_dates_are_read_as_people_type_them(written):
    assert i.parse_date(written) == DAY


def test_day_and_month_that_may_be_either_are_asked_for():
    with pytest.raises(Refusal, match=r"day and month may be either way round\. Write 2026-04-03 or 2026-03-04"):
        i.parse_date("3/4/2026")
    assert i.parse_date("3/4/2026", day_first=True) == date(2026, 4, 3)
    assert i.parse_date("3/4/2026", day_first=False) == date(2026, 3, 4)
    assert i.parse_date("3/3/2026") == date(2026, 3, 3)


def test_old_photographs_have_dates():
    assert i.parse_date("1 May 1926") == date(1926, 5, 1)


@pytest.mark.parametrize(
    ("written", "message"),
    [("31.2.2026", "there is no such day"), ("2026-02-29", "there is no such day"),
     ("2026-13-01", "there is no such day"),
     ("14.3.26", "not a date"), ("0026-03-14", "the year must be 1840 to 2199"), ("1839-12-31", "the year must be"),
     ("3 marble 2026", "'marble' is no month"), ("tomorrow", "not a date"), ("", "not a date")],
)  # fmt: skip
def test_what_is_no_date_is_refused(written, message):
    with pytest.raises(Refusal, match=message):
        i.parse_date(written)


@given(days)
def test_dates_of_any_standard_spelling_read_back(day):
    for pattern in ("%Y-%m-%d", "%Y%m%d", "%d.%m.%Y", "%d %b %Y", "%B %d, %Y", "%Y:%m:%d"):
        # strftime pads no year below 1000, none is that old here
        assert i.parse_date(day.strftime(pattern)) == day


@pytest.mark.parametrize(
    ("written", "clock"),
    [("14:05", time(14, 5)), ("14:05:30", time(14, 5, 30)), ("14.05", time(14, 5)), ("14h05", time(14, 5)),
     ("1405", time(14, 5)), ("2 pm", time(14)), ("2:05pm", time(14, 5)), ("2 p.m.", time(14)), ("12am", time(0)),
     ("12pm", time(12)), ("noon", time(12)), ("midnight", time(0)), ("14h", time(14)), ("9:05", time(9, 5))],
)  # fmt: skip
def test_times_are_read_as_people_type_them(written, clock):
    assert i.parse_time(written) == clock


@pytest.mark.parametrize(
    ("written", "message"),
    [("25:00", "there is no such time"), ("12:60", "there is no such time"), ("13pm", "13 does not go with pm"),
     ("2", "not a time of day"), ("later", "not a time of day"), ("", "not a time of day")],
)  # fmt: skip
def test_what_is_no_time_of_day_is_refused(written, message):
    with pytest.raises(Refusal, match=message):
        i.parse_time(written)


@pytest.mark.parametrize(
    ("written", "minutes"),
    [("+01:00", 60), ("-0530", -330), ("+1", 60), ("UTC+2", 120), ("GMT-3", -180), ("Z", 0), ("utc", 0), ("−3", -180),
     ("+05:45", 345), ("+14:00", 840)],
)  # fmt: skip
def test_offsets_are_read_as_people_type_them(written, minutes):
    assert i.parse_offset(written) == timedelta(minutes=minutes)


@pytest.mark.parametrize(
    ("written", "message"),
    [("CET", "not an offset"), ("+15:00", "no place has it"), ("+1:75", "no place has it"), ("1", "not")],
)
def test_what_is_no_offset_is_refused(written, message):
    with pytest.raises(Refusal, match=message):
        i.parse_offset(written)


@given(offsets)
def test_written_offsets_read_back(offset):
    assert i.parse_offset(i.format_offset(offset)) == offset


PLUS_1 = timezone(timedelta(hours=1))


@pytest.mark.parametrize(
    ("written", "instant"),
    [("2026-03-14T14:05:30+01:00", datetime(2026, 3, 14, 14, 5, 30, tzinfo=PLUS_1)),
     ("20260314T140530Z", datetime(2026, 3, 14, 14, 5, 30, tzinfo=UTC)),
     ("2026:03:14 14:05:30+01:00", datetime(2026, 3, 14, 14, 5, 30, tzinfo=PLUS_1)),
     ("14 Mar 2026 2pm UTC+1", datetime(2026, 3, 14, 14, 0, tzinfo=PLUS_1)),
     ("14.3.2026 14:05 +1", datetime(2026, 3, 14, 14, 5, tzinfo=PLUS_1)),
     ("14.3.2026 at 14.05 +01:00", datetime(2026, 3, 14, 14, 5, tzinfo=PLUS_1)),
     ("2026-03-14, noon Z", datetime(2026, 3, 14, 12, 0, tzinfo=UTC))],
)  # fmt: skip
def test_whole_instants(written, instant):
    found = i.parse_moment(written).instant()
    assert (found, found.utcoffset()) == (instant, instant.utcoffset())


@pytest.mark.parametrize(
    ("written", "moment"),
    [("2026-03-14", i.Moment(DAY, None, None)), ("14-03-2026", i.Moment(DAY, None, None)),
     ("14:05", i.Moment(None, time(14, 5), None)), ("14:05 +01:00", i.Moment(None, time(14, 5), timedelta(hours=1))),
     ("14.3.2026", i.Moment(DAY, None, None)), ("Mar 14, 2026, 2:05 pm", i.Moment(DAY, time(14, 5), None))],
)  # fmt: skip
def test_parts_that_were_not_typed_stay_open(written, moment):
    assert i.parse_moment(written) == moment
    assert moment.instant() is None


def test_an_offset_that_held_completes_a_moment_and_never_overrides_one():
    plus_2 = timedelta(hours=2)
    assert i.parse_moment("2026-03-14 14:05").instant(default_offset=plus_2).utcoffset() == plus_2
    assert i.parse_moment("2026-03-14 14:05 Z").instant(default_offset=plus_2).utcoffset() == timedelta(0)


@pytest.mark.parametrize(
    "written", ["", "soon", "5/2026", "2026-03-14T25:00", "2026-03-14 14:05 CET", "1839-01-01T10:00"]
)
def test_what_is_no_moment_is_refused(written):
    with pytest.raises(Refusal, match=r"^(moment|date|time) "):
        i.parse_moment(written)


@given(days, clocks, offsets)
def test_instants_as_iso_8601_and_exif_write_them_read_back(day, clock, offset):
    instant = datetime.combine(day, clock, tzinfo=timezone(offset))
    exif = f"{day:%Y:%m:%d} {clock:%H:%M:%S}{i.format_offset(offset)}"
    for written in (instant.isoformat(), instant.isoformat(" "), exif):
        assert i.parse_moment(written).instant() == instant
