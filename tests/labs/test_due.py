"""What is due, and its calendar file read back by icalendar and by a strict reader of RFC 5545 written here."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, timedelta
from types import SimpleNamespace

import icalendar
import pytest

from dryside.book.rows import insert, update
from dryside.book.schema import loans, orders
from dryside.book.stocks import add_to_shelf
from dryside.labs.calendar_file import export_calendar
from dryside.labs.collecting import collect
from dryside.labs.due import DueEntry, due_entries, urgency_of
from dryside.labs.lab_record import open_days_between, record_of
from dryside.labs.waiting import Wish, set_wish, waiting_rolls
from labs.conftest import TODAY
from labs.lab_maker import QUAY, make_lab
from labs.test_orders import order_at


def wish_for_all(shop, wish):
    with shop.book.write() as conn:
        for one in waiting_rolls(conn):
            set_wish(conn, one.roll.id, wish)


def due(shop, day, *kinds):
    with shop.book.read() as conn:
        return [one for one in due_entries(conn, date.fromisoformat(day)) if not kinds or one.kind in kinds]


def test_an_order_brings_scans_download_negatives_and_prints(shop):
    shop.roll()
    wish_for_all(shop, Wish(scan="standard", prints=(("4R", 5),)))
    order_at(shop, "tern")
    assert [(one.kind, str(one.day)) for one in due(shop, "2026-09-08")] == [
        ("prints", "2026-09-14"), ("scans", "2026-09-14"), ("download", "2026-10-14"), ("negatives", "2026-12-13"),
    ]  # fmt: skip


def test_what_is_done_is_due_no_more(shop):
    shop.roll()
    wish_for_all(shop, Wish(scan="standard", prints=(("4R", 5),)))
    order = order_at(shop, "tern")
    with shop.book.write() as conn:
        update(conn, orders, order.id, {"scans_on": "2026-09-15"})
        collect(conn, order, at="2026-09-16T12:00:00+01:00")
    assert due(shop, "2026-09-20") == []


@pytest.mark.parametrize(
    ("left", "urgency"),
    [(60, "later"), (22, "later"), (21, "soon"), (8, "soon"), (7, "now"), (0, "now"), (-1, "overdue")],
)  # fmt: skip
def test_urgency_grows_as_the_last_day_comes_near(left, urgency):
    assert urgency_of(TODAY + timedelta(days=left), TODAY) == urgency


def test_negatives_grow_urgent_before_the_hold_ends(shop):
    shop.roll()
    order_at(shop, "quay")  # ready on Wednesday the 9th, held for 60 days: until 8 November
    found = {
        day: due(shop, day, "negatives")[0].urgency for day in ("2026-09-10", "2026-10-20", "2026-11-05", "2026-11-09")
    }
    assert list(found.values()) == ["later", "soon", "now", "overdue"]
    (entry,) = due(shop, "2026-09-10", "negatives")
    assert str(entry.day) == "2026-11-08"
    assert entry.alarm_days == (21, 7, 2, 0)


def test_waiting_rolls_film_price_lists_and_loans_are_due_too(shop):
    roll = shop.roll(exposed_on="2026-06-01")
    with shop.book.write() as conn:
        add_to_shelf(conn, shop.stocks["colour"], film_format="135", quantity=3, expires_on="2026-10-01")
        add_to_shelf(conn, shop.stocks["colour"], film_format="135", quantity=3, expires_on="2027-10-01")
        insert(conn, loans, {"to_whom": "Low Wharf", "lent_on": "2026-09-01", "due_on": "2026-09-20", "why": "a print"})
    found = due(shop, "2026-09-07")
    assert [(one.kind, one.subject) for one in found] == [
        ("hand in", roll.code), ("loan", "loan-1"), ("film expires", "lot-1"),
    ]  # fmt: skip
    assert "98 days ago" in found[0].aside
    # Lists of 1 August and 1 September are old 181 days later.
    assert [one.subject for one in due(shop, "2027-02-01", "price list")] == ["Tern & Daughter"]
    assert [one.subject for one in due(shop, "2026-07-30", "hand in")] == []


def past(*pairs):
    return [SimpleNamespace(dropped_on=dropped, scans_on=came) for dropped, came in pairs]


def test_a_labs_record_counts_from_five_orders_on():
    lab = make_lab(closed=frozenset({5, 6}))
    monday = "2026-08-03"
    # Scans came on Tue, Wed, Thu, Fri and the Monday after: 1, 2, 3, 4, 5 open days.
    came = ["2026-08-04", "2026-08-05", "2026-08-06", "2026-08-07", "2026-08-10"]
    assert record_of(lab, past(*((monday, day) for day in came[:4]))) is None
    record = record_of(lab, past(*((monday, day) for day in came), (monday, None)))
    assert (record.orders, record.median_days, record.late_days) == (5, 3, 5)
    assert open_days_between(lab, date(2026, 8, 7), date(2026, 8, 10)) == 1


def test_with_a_record_the_median_day_is_expected_and_lateness_told_by_the_ninetieth_percentile(shop):
    for day in range(5):
        shop.roll()
        wish_for_all(shop, Wish(scan="standard"))
        order = order_at(shop, "tern", day=date(2026, 8, 3 + day), at=f"2026-08-{3 + day:02d}T12:00:00+01:00")
        with shop.book.write() as conn:  # each a fortnight later: ten open days
            update(conn, orders, order.id, {"scans_on": f"2026-08-{17 + day}"})
    shop.roll()
    wish_for_all(shop, Wish(scan="standard"))
    order_at(shop, "tern")
    (entry,) = due(shop, "2026-09-15", "scans")
    # Promised for the 14th; ten open days from Monday the 7th are Monday the 21st.
    assert (str(entry.day), entry.urgency) == ("2026-09-21", "later")
    assert "Promised by Tern & Daughter for 2026-09-14. By its last 5 orders" in entry.detail
    (late,) = due(shop, "2026-09-22", "scans")
    assert (late.urgency, late.aside) == ("overdue", "Ask there.")


# --- the calendar file -------------------------------------------------------------------------------------------

NOW = datetime(2026, 9, 7, 12, tzinfo=UTC)


def entry(subject="O26-001", day=date(2026, 11, 8), **changes):
    fields = {"title": "Last day, for the negatives; of O26-001 \\ ü", "detail": "Fetch them.", "urgency": "later"}
    return DueEntry("negatives", subject, day, **(fields | {"alarm_days": (21, 0)} | changes))


def export(book, *entries, now=NOW):
    with book.write() as conn:
        return export_calendar(conn, entries, now=now)


def strict_events(data):
    """Events by UID, by the letter of RFC 5545: 3.1 (lines, folding), 3.3.11 (text), 3.6.1, 3.6.6 (components)."""
    assert data.endswith(b"\r\n") and b"\n" not in data.replace(b"\r\n", b"")
    assert all(len(line) <= 75 for line in data.split(b"\r\n"))
    lines = re.sub(r"\r\n[ \t]", "", data.decode("utf-8")).split("\r\n")[:-1]
    stack, events, open_parts = [], {}, []
    for line in lines:
        matched = re.fullmatch(r"([A-Z0-9-]+)((?:;[A-Z0-9-]+=[^;:\"]+)*):(.*)", line)
        assert matched, line
        name, parameters, value = matched.groups()
        if name == "BEGIN":
            stack.append((value, {}, []))
        elif name == "END":
            kind, found, parts = stack.pop()
            assert kind == value
            if kind == "VEVENT":
                assert {"UID", "DTSTAMP", "DTSTART"} <= set(found)
                assert re.fullmatch(r"\d{8}T\d{6}Z", found["DTSTAMP"][1])
                events[found["UID"][1]] = (found, parts)
            elif kind == "VALARM":
                assert {"ACTION", "TRIGGER", "DESCRIPTION"} <= set(found)
                stack[-1][2].append(found)
            else:
                assert (kind, found["VERSION"][1]) == ("VCALENDAR", "2.0") and "PRODID" in found
                open_parts.append(kind)
        else:
            assert name not in stack[-1][1] or name in ("CATEGORIES",)
            stack[-1][1][name] = (parameters, value)
    assert stack == [] and open_parts == ["VCALENDAR"]
    return events


def unescaped(value):
    return re.sub(r"\\([\\;,nN])", lambda one: {"n": "\n", "N": "\n"}.get(one[1], one[1]), value)


def test_two_readers_find_the_same_days_words_and_alarms(book):
    data = export(book, entry())
    (event,) = icalendar.Calendar.from_ical(data).walk("VEVENT")
    assert (event["dtstart"].dt, event["dtend"].dt) == (date(2026, 11, 8), date(2026, 11, 9))
    assert str(event["summary"]) == entry().title
    assert [alarm["trigger"].dt for alarm in event.walk("VALARM")] == [timedelta(days=-21, hours=9), timedelta(hours=9)]
    ((found, alarms),) = strict_events(data).values()
    assert found["DTSTART"] == (";VALUE=DATE", "20261108")
    assert unescaped(found["SUMMARY"][1]) == entry().title
    assert [one["TRIGGER"][1] for one in alarms] == ["-P20DT15H", "PT9H"]


def test_nothing_changed_is_the_same_file_days_later(book):
    first = export(book, entry(), entry("O26-002"))
    later = export(book, entry(urgency="now", aside="2 days left"), entry("O26-002"), now=NOW + timedelta(days=40))
    assert first == later


def test_a_moved_entry_keeps_its_uid_and_its_sequence_grows_by_one(book):
    ((uid, (before, _)),) = strict_events(export(book, entry())).items()
    moved = strict_events(export(book, entry(day=date(2026, 11, 20)), now=NOW + timedelta(days=1)))
    assert set(moved) == {uid}
    after, _ = moved[uid]
    assert (before["SEQUENCE"][1], after["SEQUENCE"][1], after["DTSTART"][1]) == ("0", "1", "20261120")
    assert after["DTSTAMP"][1] == "20260908T120000Z"


def test_what_is_done_is_cancelled_and_forgotten_in_time(book):
    (uid,) = strict_events(export(book, entry()))
    gone = strict_events(export(book, now=NOW + timedelta(days=1)))
    assert (gone[uid][0]["STATUS"][1], gone[uid][0]["SEQUENCE"][1]) == ("CANCELLED", "1")
    assert export(book, now=NOW + timedelta(days=2)) == export(book, now=NOW + timedelta(days=3))
    back = strict_events(export(book, entry(), now=NOW + timedelta(days=4)))
    assert back[uid][0]["SEQUENCE"][1] == "2" and "STATUS" not in back[uid][0]
    assert strict_events(export(book, now=NOW + timedelta(days=200))) == {}


def test_a_long_line_is_folded_and_read_back_whole(book):
    long = "Ünïcode " * 40
    data = export(book, entry(detail=long))
    ((found, _),) = strict_events(data).values()
    assert unescaped(found["DESCRIPTION"][1]) == long


def test_the_strict_reader_would_notice_a_bare_line_feed():
    with pytest.raises(AssertionError):
        strict_events(b"BEGIN:VCALENDAR\nEND:VCALENDAR\r\n")


def test_labs_of_the_book_are_those_written_here(shop):
    assert shop.labs["quay"].price_list.toml == QUAY
