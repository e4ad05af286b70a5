"""Frame labels: the number printed nearest to each frame, read or counted along the strip."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from dryside.film.formats import film_format
from dryside.film.frame_labels import label_at
from dryside.film.perforations import HALF_FRAME_PITCH_MM
from dryside.negatives.types import EdgeCode, FrameFound, LabelSource

# A full frame takes the whole number unless its code stands so far off that the A in between is clearly the nearer one.
_WHOLE_NUMBER_REACH_MM = 14.0
_FULL_FRAME_MM = 36.0
_LOWEST_HALF_FRAME, _HIGHEST_HALF_FRAME = -4, 2 * 61 + 1  # from X to 61A


def label_frames(frames: tuple[FrameFound, ...], codes: tuple[EdgeCode, ...], *, format: str) -> tuple[FrameFound, ...]:
    """Frames with the numbers of an oriented strip.

    Parameters
    ----------
    frames : tuple of FrameFound
        In reading direction.
    codes : tuple of EdgeCode
        That agree with one another.
    format : str
        Key of `FORMATS`.

    Returns
    -------
    tuple of FrameFound
        Labelled `edge code` where the number's own code was read, `sequence` where it follows from the others; as they
        were where there are no numbered codes.
    """
    numbered = [(code.half_frame, code.x_mm) for code in codes if code.half_frame is not None]
    if not numbered or not frames:
        return frames
    confidence = max(code.confidence for code in codes)
    origin = float(np.median([x - number * HALF_FRAME_PITCH_MM for number, x in numbered]))
    facts = film_format(format)
    # Frames that keep to no whole number of perforations take the label nearest to where they begin: that under the
    # middle of a full frame which began there.
    odd = facts.frame_pitch_mm is None
    reach = [_FULL_FRAME_MM if odd else frame.film_mm[2] - frame.film_mm[0] for frame in frames]
    middles = [frame.film_mm[0] + length / 2 for frame, length in zip(frames, reach, strict=True)]
    numbers = _numbers(middles, origin, halves=odd or facts.along_mm < HALF_FRAME_PITCH_MM)
    read = {number for number, _ in numbered}
    labelled = []
    for frame, number in zip(frames, numbers, strict=True):
        if not _LOWEST_HALF_FRAME <= number <= _HIGHEST_HALF_FRAME:
            labelled.append(frame)
            continue
        source: LabelSource = "edge code" if number in read else "sequence"
        text = str(label_at(number))
        sure = confidence if number in read else 0.9 * confidence
        labelled.append(replace(frame, label=text, label_source=source, label_confidence=sure))
    return tuple(labelled)


def _numbers(middles: list[float], origin: float, *, halves: bool) -> list[int]:
    """Half-frame number of each frame, from where the codes' middles stand."""
    exact = [(middle - origin) / HALF_FRAME_PITCH_MM for middle in middles]
    if halves:
        return [round(value) for value in exact]
    off = [value - 2 * round(value / 2) for value in exact]
    # Frames of one strip stand alike against their numbers: they are all whole, or all in between.
    reach = _WHOLE_NUMBER_REACH_MM / HALF_FRAME_PITCH_MM
    whole = float(np.median(np.abs(off))) <= reach
    if whole:
        return [2 * round(value / 2) for value in exact]
    return [2 * round((value - 1) / 2) + 1 for value in exact]
