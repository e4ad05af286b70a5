"""Thinning a backup out: which snapshots stay, and that what stays can be restored whatever happens."""

import hashlib
import os
import shutil
import signal
import subprocess
import sys
import time
from datetime import date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from book.kept_book import fill
from dryside.book.backup import CONTENT, SNAPSHOTS, back_up, list_snapshots, restore
from dryside.book.files import put_picture
from dryside.book.folder import open_book
from dryside.book.people import add_person, list_people
from dryside.book.snapshot_keeping import KeepRule, parse_keep, snapshots_to_keep, thin_out
from dryside.book.table_copy import table_digest
from dryside.film.refusal import Refusal


def name_of(day: date, hour: int = 12) -> str:
    return f"{day.isoformat()}T{hour:02d}-00-00-000000Z"


DAILY = [name_of(date(2026, 1, 1) + timedelta(days=n)) for n in range(100)]  # to 10 April


def test_the_newest_of_each_day_and_month_is_kept_as_the_calendar_says():
    kept = snapshots_to_keep(DAILY, KeepRule(days=3, months=3))
    assert [name[:10] for name in kept] == ["2026-02-28", "2026-03-31", "2026-04-08", "2026-04-09", "2026-04-10"]
    # ISO weeks begin on Monday: 5 April 2026 is a Sunday, 29 March too.
    assert [name[:10] for name in snapshots_to_keep(DAILY, KeepRule(weeks=3))] == [
        "2026-03-29", "2026-04-05", "2026-04-10",
    ]  # fmt: skip
    assert [name[:10] for name in snapshots_to_keep([*DAILY, name_of(date(2024, 5, 5))], KeepRule(years=2))] == [
        "2024-05-05", "2026-04-10",
    ]  # fmt: skip


def test_the_last_of_a_day_stands_for_it_and_a_long_pause_drops_nothing_old():
    names = [name_of(date(2026, 1, 1), 8), name_of(date(2026, 1, 1), 20), name_of(date(2026, 9, 1))]
    assert snapshots_to_keep(names, KeepRule(days=2)) == names[1:]


@given(st.lists(st.datetimes(datetime(2020, 1, 1), datetime(2027, 1, 1)), min_size=1, max_size=40),
       st.integers(0, 9), st.integers(0, 9), st.integers(0, 9), st.integers(0, 9))  # fmt: skip
def test_the_newest_stays_no_more_stay_than_are_asked_for_and_a_second_time_changes_nothing(times, d, w, m, y):
    names = sorted({one.strftime("%Y-%m-%dT%H-%M-%S-%fZ") for one in times})
    rule = KeepRule(d, w, m, y)
    kept = snapshots_to_keep(names, rule)
    assert names[-1] in kept
    assert len(kept) <= max(1, d + w + m + y)
    assert snapshots_to_keep(kept, rule) == kept
    later = name_of(date(2030, 1, 1))
    assert set(snapshots_to_keep([*names, later], rule)) <= {*kept, later}  # what was dropped is not missed later


@pytest.mark.parametrize(
    ("text", "rule"),
    [
        ("7d", KeepRule(7)),
        ("7d,12m", KeepRule(days=7, months=12)),
        ("14D 8w; 12m 5y", KeepRule(14, 8, 12, 5)),
        ("0d,1y", KeepRule(years=1)),
    ],
)
def test_rules_are_read_as_they_are_typed(text, rule):
    assert parse_keep(text) == rule


@pytest.mark.parametrize("text", ["", "7", "d7", "7d,3d", "0d", "-1d", "7 fortnights"])
def test_what_is_no_rule_is_refused(text):
    with pytest.raises(Refusal, match="like 7d,8w,12m,5y"):
        parse_keep(text)


@pytest.fixture
def backup(book, tmp_path):
    """Ten days of a book that changes every day; the digests of its tables and of its pictures each day."""
    fill(book)
    states = {}
    for n in range(10):
        with book.write() as conn:
            add_person(conn, f"Noor {n}")
        put_picture(book, "26-001-N/01.jpg", b"tagged anew" + bytes([n]))
        made = back_up(book, tmp_path / "backup").snapshot
        name = name_of(date(2026, 5, 1) + timedelta(days=n))
        for suffix in (".json", ".db"):
            path = tmp_path / "backup" / SNAPSHOTS / f"{made}{suffix}"
            if suffix == ".json":
                path.write_text(path.read_text().replace(made, name))
            path.rename(path.with_name(f"{name}{suffix}"))
        states[name] = state_of(book)
    return tmp_path / "backup", states


def state_of(book):
    with book.read() as conn:
        tables = table_digest(conn)
    return tables, hashlib.sha256((book.pictures / "26-001-N" / "01.jpg").read_bytes()).hexdigest()


def assert_all_restore(folder, states, place):
    for name in list_snapshots(folder):
        restore(folder, place / name, snapshot=name)
        with open_book(place / name) as again:
            assert state_of(again) == states[name]


def test_what_is_kept_restores_as_it_was_and_the_rest_is_gone(book, backup, tmp_path):
    folder, states = backup
    done = thin_out(folder, parse_keep("3d,1m"))
    assert [name[8:10] for name in done.kept] == ["08", "09", "10"]
    assert list_snapshots(folder) == list(done.kept)
    assert (len(done.dropped), done.contents) == (7, 7)  # the picture of each of those days
    assert done.freed > 0
    book.close()
    shutil.rmtree(book.root)
    assert_all_restore(folder, states, tmp_path / "again")
    assert thin_out(folder, parse_keep("3d,1m")).dropped == ()


def test_content_that_an_older_kept_snapshot_needs_stays(backup, tmp_path):
    folder, states = backup
    first = min(states)
    shutil.copy(folder / SNAPSHOTS / f"{first}.db", folder / SNAPSHOTS / "2024-01-01T00-00-00-000000Z.db")
    (folder / SNAPSHOTS / "2024-01-01T00-00-00-000000Z.json").write_text(
        (folder / SNAPSHOTS / f"{first}.json").read_text().replace(first, "2024-01-01T00-00-00-000000Z")
    )
    states["2024-01-01T00-00-00-000000Z"] = states[first]
    thin_out(folder, parse_keep("1d,2y"))
    assert [name[:4] for name in list_snapshots(folder)] == ["2024", "2026"]
    assert_all_restore(folder, states, tmp_path / "again")


def test_nothing_goes_where_a_list_is_damaged_content_is_missing_or_another_run_is_under_way(backup):
    folder, states = backup
    before = sorted(folder.rglob("*"))
    newest = folder / SNAPSHOTS / f"{max(states)}.json"
    whole = newest.read_text()
    newest.write_text(whole[:200])
    with pytest.raises(Refusal, match="list of a backup is damaged"):
        thin_out(folder, KeepRule(days=1))
    newest.write_text(whole)
    (folder / SNAPSHOTS / "2026-06-01T00-00-00-000000Z.part").write_bytes(b"")
    with pytest.raises(Refusal, match="another backup seems to be running"):
        thin_out(folder, KeepRule(days=1))
    (folder / SNAPSHOTS / "2026-06-01T00-00-00-000000Z.part").unlink()
    assert sorted(folder.rglob("*")) == before
    some = next((folder / CONTENT).glob("??/*"))
    some.rename(folder / "away")
    with pytest.raises(Refusal, match="contents that its snapshots need are missing"):
        thin_out(folder, KeepRule(days=10))
    assert list_snapshots(folder) == sorted(states)


def test_a_young_database_without_its_list_is_a_run_under_way_an_old_one_is_left_over(backup):
    folder, _ = backup
    left = folder / SNAPSHOTS / "2026-04-01T00-00-00-000000Z.db"
    left.write_bytes(b"cut short")
    with pytest.raises(Refusal, match="another backup seems to be running"):
        thin_out(folder, KeepRule(days=1))
    long_ago = time.time() - 2 * 3600
    os.utime(left, (long_ago, long_ago))
    thin_out(folder, KeepRule(days=1))
    assert not left.exists()


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="needs SIGKILL")
@pytest.mark.parametrize("removed", [1, 4, 8, 9, 16, 17, 22])
def test_killed_at_any_moment_every_listed_snapshot_can_be_restored(backup, tmp_path, removed):
    folder, states = backup
    program = (
        "import os, signal, sys; from pathlib import Path; from dryside.book import snapshot_keeping as s\n"
        "count = 0\n"
        "real = s._remove\n"
        "def removing(path):\n"
        "    global count\n"
        "    count += 1\n"
        f"    if count == {removed}: os.kill(os.getpid(), signal.SIGKILL)\n"
        "    return real(path)\n"
        "s._remove = removing\n"
        "s.thin_out(Path(sys.argv[1]), s.KeepRule(days=2))\n"
    )
    done = subprocess.run([sys.executable, "-c", program, str(folder)], check=False)
    assert done.returncode == -signal.SIGKILL
    assert_all_restore(folder, states, tmp_path / "again")
    thin_out(folder, KeepRule(days=2))
    assert len(list_snapshots(folder)) == 2
    assert_all_restore(folder, states, tmp_path / "later")
    with open_book(tmp_path / "later" / max(states)) as again, again.read() as conn:
        assert len(list_people(conn)) == 11
