"""Where the holes of 135 film are: pitch, hole, distance to the edge, and what follows from them.

Sources: encyclopedia article 'Film perforations' (pitches, hole sizes: read); ISO 491 and ISO 1007 for film width,
corner radius, distance to the edge and all tolerances (from memory).
"""

from __future__ import annotations

FILM_WIDTH_MM = 34.975
FILM_WIDTH_TOLERANCE_MM = 0.025

PITCH_MM = 4.750
"""Long pitch (0.1870 in), still film and print stock, from hole to hole along the film."""
SHORT_PITCH_MM = 4.740
"""Short pitch (0.1866 in), cine camera negative; 36 frames are 2.9 mm shorter than on the long pitch."""
PITCH_TOLERANCE_MM = 0.013

HOLE_ALONG_MM = 1.981
"""Hole of still film, along the film (0.0780 in)."""
HOLE_ACROSS_MM = 2.794
"""Hole of still film, across the film (0.1100 in)."""
CINE_HOLE_ALONG_MM = 1.85
"""Hole of cine camera negative, along the film (0.073 in); its sides are arcs, its height is that of still film."""
HOLE_TOLERANCE_MM = 0.010
HOLE_CORNER_RADIUS_MM = 0.51

EDGE_TO_HOLE_MM = 2.01
"""From the edge of the film to the near edge of a hole; the band that carries the edge code."""
EDGE_TO_HOLE_TOLERANCE_MM = 0.05

HOLE_CENTRE_FROM_EDGE_MM = EDGE_TO_HOLE_MM + HOLE_ACROSS_MM / 2
ROW_DISTANCE_MM = FILM_WIDTH_MM - 2 * HOLE_CENTRE_FROM_EDGE_MM
"""From the centres of one row of holes to those of the other, across the film."""
CLEAR_WIDTH_MM = FILM_WIDTH_MM - 2 * (EDGE_TO_HOLE_MM + HOLE_ACROSS_MM)
"""What is free of holes between the two rows."""

FRAME_PERFORATIONS = 8
HALF_FRAME_PERFORATIONS = 4
FRAME_PITCH_MM = FRAME_PERFORATIONS * PITCH_MM
HALF_FRAME_PITCH_MM = HALF_FRAME_PERFORATIONS * PITCH_MM


def run_length_mm(perforations: int, *, pitch_mm: float = PITCH_MM) -> float:
    """Length of film over so many perforations, in mm.

    Parameters
    ----------
    perforations : int
        0 or more.
    pitch_mm : float, optional
        Hole to hole, in mm; `SHORT_PITCH_MM` for cine camera negative.

    Raises
    ------
    ValueError
        If `perforations` is below 0 or `pitch_mm` is not above 0.
    """
    if perforations < 0:
        raise ValueError(f"perforations is {perforations}; it must be 0 or more")
    if pitch_mm <= 0:
        raise ValueError(f"pitch_mm is {pitch_mm}; it must be above 0 mm")
    return perforations * pitch_mm


def frame_pitch_mm(perforations: int, *, pitch_mm: float = PITCH_MM) -> float:
    """Distance from frame to frame of a camera that advances so many perforations, in mm.

    Raises
    ------
    ValueError
        If `perforations` is neither 8 (a 135 frame) nor 4 (a half frame): no other advance is a standard one.
    """
    if perforations not in (FRAME_PERFORATIONS, HALF_FRAME_PERFORATIONS):
        raise ValueError(f"perforations is {perforations}; a 135 frame advances 8, a half frame 4")
    return run_length_mm(perforations, pitch_mm=pitch_mm)
