"""A GPS track: where somebody was at a given time, between the points that were recorded."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import UTC
from typing import Any

from dryside.book.instants import utc_seconds
from dryside.book.notes.noted import NotedFrame
from dryside.film.refusal import Refusal

GAP_LIMIT_S = 600.0
"""Longest time between two points, or past an end, over which a place is still given."""


@dataclass(frozen=True)
class TrackPoint:
    """A recorded point: seconds since 1970 UTC, degrees, metres (None where not recorded)."""

    at_utc: float
    latitude: float
    longitude: float
    altitude_m: float | None


def read_track(content: bytes) -> tuple[TrackPoint, ...]:
    """The points of a GPX file that have a time, in order of time; several tracks and segments become one.

    Raises
    ------
    Refusal
        If it is no GPX file or no point has a time.
    """
    import gpxpy
    from gpxpy.gpx import GPXException

    try:
        gpx = gpxpy.parse(content.decode("utf-8-sig", errors="replace"))
    except (GPXException, ValueError) as error:
        raise Refusal(
            "track", f"this is no GPX file ({str(error).splitlines()[0]})", "Export it as GPX 1.1."
        ) from error
    segments = [segment.points for track in gpx.tracks for segment in track.segments]
    found = {}
    points: list[Any] = [one for segment in segments for one in segment]
    for point in [*points, *gpx.waypoints]:
        if point.time is not None:
            moment = point.time if point.time.tzinfo else point.time.replace(tzinfo=UTC)
            seconds = moment.timestamp()
            found[seconds] = TrackPoint(seconds, point.latitude, point.longitude, point.elevation)
    if not found:
        raise Refusal("track", "no point in it has a time", "Record the track with times.")
    return tuple(found[seconds] for seconds in sorted(found))


def place_at(track: tuple[TrackPoint, ...], at_utc: float, *, gap_limit_s: float = GAP_LIMIT_S) -> TrackPoint | None:
    """Where the track was at a moment: between the two points around it by time; None where it does not say.

    Parameters
    ----------
    track : tuple of TrackPoint
        In order of time.
    at_utc : float
        Seconds since 1970 UTC.
    gap_limit_s : float, optional
        Between points farther apart than this only the nearer ends count, and past an end no more than this.

    Notes
    -----
    Longitudes are taken the short way round, so a ferry across the 180th meridian stays on the water.
    """
    place = bisect_left(track, at_utc, key=lambda point: point.at_utc)
    before = track[place - 1] if place else None
    after = track[place] if place < len(track) else None
    if after is not None and after.at_utc == at_utc:
        return after
    if before is not None and after is not None and after.at_utc - before.at_utc <= gap_limit_s:
        return _between(before, after, at_utc)
    near = [one for one in (before, after) if one is not None and abs(one.at_utc - at_utc) <= gap_limit_s / 2]
    return min(near, key=lambda one: abs(one.at_utc - at_utc), default=None)


def _between(before: TrackPoint, after: TrackPoint, at_utc: float) -> TrackPoint:
    part = (at_utc - before.at_utc) / (after.at_utc - before.at_utc)
    turn = (after.longitude - before.longitude + 180) % 360 - 180
    longitude = (before.longitude + part * turn + 180) % 360 - 180
    altitude = None
    if before.altitude_m is not None and after.altitude_m is not None:
        altitude = round(before.altitude_m + part * (after.altitude_m - before.altitude_m), 1)
    latitude = before.latitude + part * (after.latitude - before.latitude)
    return TrackPoint(at_utc, round(latitude, 7), round(longitude, 7), altitude)


def add_places(
    frames: Iterable[NotedFrame],
    track: tuple[TrackPoint, ...],
    *,
    offset_s: float = 0.0,
    gap_limit_s: float = GAP_LIMIT_S,
) -> tuple[tuple[NotedFrame, ...], tuple[str, ...]]:
    """Give frames with a time and no coordinates their place on the track.

    Parameters
    ----------
    frames : iterable of NotedFrame
        Frames as noted.
    track : tuple of TrackPoint
        In order of time.
    offset_s : float, optional
        Added to the frames' times first: the watch ran behind the satellites by this much.
    gap_limit_s : float, optional
        As in `place_at`.

    Returns
    -------
    tuple
        The frames, and the labels of those that have a time but lie off the track.
    """
    placed, off = [], []
    for frame in frames:
        timed = frame.taken_at is not None and frame.taken_to != "day" and not frame.blank
        if not timed or frame.latitude is not None:
            placed.append(frame)
            continue
        point = place_at(track, utc_seconds(str(frame.taken_at)) + offset_s, gap_limit_s=gap_limit_s)
        if point is None:
            off.append(frame.label)
            placed.append(frame)
        else:
            altitude = point.altitude_m if frame.altitude_m is None else frame.altitude_m
            placed.append(replace(frame, latitude=point.latitude, longitude=point.longitude, altitude_m=altitude))
    return tuple(placed), tuple(off)
