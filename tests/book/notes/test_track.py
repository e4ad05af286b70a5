"""Places by time from a GPS track."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryside.book.folder import km_between
from dryside.book.notes.noted import NotedFrame
from dryside.book.notes.track import TrackPoint, add_places, place_at, read_track
from dryside.film.refusal import Refusal

# GPX 1.1 as its schema has it: trkpt with lat and lon, ele in metres, time in UTC (value from memory).
GPX = b"""<?xml version="1.0" encoding="UTF-8"?>
<gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1">
<wpt lat="41.5" lon="-8.5"><name>no time</name></wpt>
<trk><trkseg>
<trkpt lat="41.0" lon="-8.0"><ele>100</ele><time>2026-07-14T12:00:00Z</time></trkpt>
<trkpt lat="41.1" lon="-8.2"><ele>200</ele><time>2026-07-14T12:05:00Z</time></trkpt>
</trkseg><trkseg>
<trkpt lat="42.0" lon="-9.0"><time>2026-07-14T14:00:00Z</time></trkpt>
</trkseg></trk></gpx>"""
NOON = 1784030400.0


def frame(time, **columns):
    return NotedFrame("1", 1, taken_at=f"2026-07-14T{time}", taken_to="minute", **columns)


def test_a_frame_between_two_points_lies_between_them():
    (placed,), off = add_places([frame("14:02:30+02:00")], read_track(GPX))
    assert (placed.latitude, placed.longitude, placed.altitude_m) == (41.05, -8.1, 150.0)
    assert off == ()


def test_a_frame_in_a_long_gap_or_before_the_track_has_no_place():
    placed, off = add_places([frame("13:00:00Z"), replace(frame("08:00:00Z"), label="2")], read_track(GPX))
    assert off == ("1", "2")
    assert all(one.latitude is None for one in placed)
    (placed,), off = add_places([frame("13:00:00Z")], read_track(GPX), gap_limit_s=3 * 3600)
    assert placed.latitude == pytest.approx(41.1 + 0.9 * 55 / 115, abs=1e-6)


def test_a_watch_that_ran_behind_is_put_right():
    (placed,), _ = add_places([frame("12:00:00Z")], read_track(GPX), offset_s=300)
    assert (placed.latitude, placed.longitude) == (41.1, -8.2)


def test_what_the_note_says_itself_is_kept_and_a_bare_day_gets_no_place():
    given_place = frame("12:00:00Z", latitude=1.0, longitude=2.0)
    only_day = replace(frame("12:00:00Z"), taken_to="day")
    assert add_places([given_place, only_day], read_track(GPX))[0] == (given_place, only_day)


@pytest.mark.parametrize("content", [b"", b"not xml", b"<gpx></gpx>", GPX.replace(b"time", b"tyme")])
def test_what_is_no_track_is_refused(content):
    with pytest.raises(Refusal, match=r"no GPX file|has a time"):
        read_track(content)


@given(st.floats(-80, 80), st.floats(-180, 180), st.floats(-80, 80), st.floats(-179, 179), st.floats(0, 1))
def test_a_place_between_lies_no_farther_than_the_ends_and_takes_the_short_way(a, b, c, d, part):
    before, after = TrackPoint(0, a, b, None), TrackPoint(100, c, d, 5.0)
    found = place_at((before, after), 100 * part)
    assert found is not None
    assert -180 <= found.longitude <= 180
    assert min(a, c) - 1e-6 <= found.latitude <= max(a, c) + 1e-6
    turn = abs((found.longitude - b + 180) % 360 - 180)
    assert turn <= abs((d - b + 180) % 360 - 180) + 1e-6


def test_a_ferry_over_the_180th_meridian_stays_on_the_water():
    found = place_at((TrackPoint(0, -17, 179.9, None), TrackPoint(60, -17, -179.9, None)), 30)
    assert abs(found.longitude) == pytest.approx(180)
    assert km_between(-17, 179.9, found.latitude, found.longitude) < 12
