"""What tells a capture that shows no film from one that does, where no perforations vouch for it."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from dryside.negatives.capture_as_frame import departure
from dryside.negatives.film_view import FilmView
from dryside.negatives.rebate_around import LEAST_MASK, MASKED, Box, RebateAround, rebate_around
from dryside.negatives.types import FrameFound, LightArray, Strip

Floats = NDArray[np.floating[Any]]

_MOST_BEYOND = 0.015
_MOST_BEYOND_ALIKE = 0.045  # where what surrounds a negative is of one colour: a reflection may veil a part of it
_ALIKE = 0.7
_LEAST_AGREEING = {True: 0.4, False: 0.85}  # for negatives, for slides: black is seen all round
_LEAST_DEPTH = 1.1  # log10: unexposed slide film is denser than 2; stray light in a capture takes some of it
_MOST_CLIPPED = 0.5
_CLIPPED = 0.985
_EVEN = 0.03  # log10 by which an empty light table departs from a smooth fall-off

CLIPPED = "clipped"
BARE_LIGHT = "nothing but even light is in it: an empty light table, a flat, or clear film"


def why_no_film(
    view: FilmView, strip: Strip, frames: tuple[FrameFound, ...], *, brightest: Floats, process: str | None
) -> str:
    """Why the frames found without perforations cannot be film; '' if they can.

    Parameters
    ----------
    view : FilmView
        The strip laid flat.
    strip, frames
        As found.
    brightest : ndarray of shape (3,)
        The capture's brightest light.
    process : str or None
        How the film was developed, if that is known.
    """
    seen = _around(view, strip, frames, brightest)
    if not seen:
        return "no film is seen around the picture in it"
    # Where one frame is hidden in part, the others tell.
    agreeing = float(np.median([one.agreeing for one in seen]))
    beyond = float(np.median([one.beyond for one in seen]))
    kind = "clearer" if strip.clear_is_light else "darker"
    veiled = strip.clear_is_light and agreeing > _ALIKE
    if beyond > (_MOST_BEYOND_ALIKE if veiled else _MOST_BEYOND):
        return (
            f"it is no film: {beyond:.0%} of the picture is {kind} than what would have to be unexposed film around it"
        )
    if agreeing < _LEAST_AGREEING[strip.clear_is_light]:
        return "it is no film: what surrounds the picture in it is not of one colour, as unexposed film is"
    if not strip.clear_is_light and float(np.median([one.depth for one in seen])) < _LEAST_DEPTH:
        return "it is no slide film: what surrounds the picture in it is not black"
    mask = float(np.median([one.mask for one in seen]))
    if process in MASKED and strip.scale_source == "frames" and mask < LEAST_MASK:
        return "it is no colour negative: what surrounds the picture in it has no orange mask"
    return ""


def _around(view: FilmView, strip: Strip, frames: tuple[FrameFound, ...], brightest: Floats) -> list[RebateAround]:
    per_mm = view.pixels_per_mm
    boxes = [_in_pixels(frame.film_mm, view) for frame in frames]
    found = []
    for k, box in enumerate(boxes):
        around = rebate_around(
            view.light, view.inside, box, tuple(boxes[:k] + boxes[k + 1 :]), px_per_mm=per_mm,
            clear_is_light=strip.clear_is_light, brightest=brightest,
        )  # fmt: skip
        if around is not None:
            found.append(around)
    return found


def _in_pixels(film_mm: Box, view: FilmView) -> Box:
    x0, y0, x1, y1 = film_mm
    per_mm = view.pixels_per_mm
    return (
        (x0 - view.x0_mm) * per_mm,
        (y0 - view.y0_mm) * per_mm,
        (x1 - view.x0_mm) * per_mm,
        (y1 - view.y0_mm) * per_mm,
    )


def what_is_there_instead(light: LightArray, full_scale: float = 1.0) -> str:
    """What a capture without film shows, if that can be told; else ''."""
    if min(light.shape[:2]) < 8:
        return ""
    clipped = float((light.min(axis=-1) >= _CLIPPED * full_scale).mean())
    if clipped > _MOST_CLIPPED:
        return f"{CLIPPED}: {clipped:.0%} of it is at full scale in every channel"
    return BARE_LIGHT if _is_even(light) else ""


def remedy_for(why: str) -> str:
    """What a person can do about a capture in which no film was found."""
    if why.startswith(CLIPPED):
        return "Capture it again with a shorter exposure."
    if why == BARE_LIGHT:
        return "Lay film on the light table; hand the light alone in with --flat."
    return "Show the film's edges, or name another --format or --process; --whole takes the capture as one frame."


def _is_even(light: LightArray) -> bool:
    """Whether light falls off smoothly over the whole capture, and nothing else is in it."""
    return bool(light.max() > 0 and np.percentile(departure(light)[0], 98) < _EVEN)
