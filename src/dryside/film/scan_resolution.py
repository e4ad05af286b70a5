"""Resolution on the film: pixels, pixels per inch, the finest detail they can hold, and the sizes labs sell.

All is arithmetic (`px = mm / 25.4 * ppi`; Nyquist `ppi / 50.8` cycles per mm) except the tiers, which are common
practice from memory: check a delivery's ppi and shape and not its exact pixels, since machines crop or overscan by a
few per cent.
"""

from __future__ import annotations

from dataclasses import dataclass

from dryside.film.formats import film_format
from dryside.film.units import MM_PER_INCH, require_above_zero

OVERSCAN_TOLERANCE_PCT = 5.0
"""How far a scan's shape may differ from the frame's before it was cropped (common practice: 1 to 2 % a side)."""


@dataclass(frozen=True)
class ScanTier:
    """A size of scan as labs offer it from a 135 frame; `long_px` and `short_px` as usually delivered."""

    name: str
    long_px: int
    short_px: int


SCAN_TIERS: tuple[ScanTier, ...] = (
    ScanTier("small", 1800, 1200),
    ScanTier("medium", 3600, 2400),
    ScanTier("large", 6700, 4500),
)
"""Small, medium and large from 135, smallest first; low confidence, from memory."""


def pixels_along(mm: float, ppi: float) -> float:
    """Pixels along a length of film, not rounded: 36 mm at 4000 ppi are 5669.29.

    Raises
    ------
    ValueError
        If either is not above 0.
    """
    require_above_zero("mm", mm)
    require_above_zero("ppi", ppi)
    return mm / MM_PER_INCH * ppi


def ppi_on_film(pixels: float, mm: float) -> float:
    """Pixels per inch of film: 6000 px along 36 mm are 4233.

    Raises
    ------
    ValueError
        If either is not above 0.
    """
    require_above_zero("pixels", pixels)
    require_above_zero("mm", mm)
    return pixels * MM_PER_INCH / mm


def pixels_per_mm(ppi: float) -> float:
    """The same resolution in pixels per mm."""
    return ppi / MM_PER_INCH


def pixel_pitch_um(ppi: float) -> float:
    """Distance of pixels on the film in micrometres: 6.35 at 4000 ppi.

    Raises
    ------
    ValueError
        If `ppi` is not above 0.
    """
    require_above_zero("ppi", ppi)
    return 1000 * MM_PER_INCH / ppi


def nyquist_cycles_per_mm(ppi: float) -> float:
    """Finest detail that such pixels can hold, in cycles (line pairs) per mm: 78.7 at 4000 ppi.

    Raises
    ------
    ValueError
        If `ppi` is not above 0.
    """
    require_above_zero("ppi", ppi)
    return ppi / (2 * MM_PER_INCH)


def frame_pixels(format_key: str, ppi: float) -> tuple[float, float]:
    """Long and short side of a whole frame in pixels, not rounded.

    Raises
    ------
    Refusal
        If there is no such format.
    ValueError
        If `ppi` is not above 0.
    """
    frame = film_format(format_key)
    return pixels_along(frame.long_mm, ppi), pixels_along(frame.short_mm, ppi)


def frame_megapixels(format_key: str, ppi: float) -> float:
    """Megapixels of a whole frame: 21.4 for 135 at 4000 ppi.

    Raises
    ------
    Refusal
        If there is no such format.
    ValueError
        If `ppi` is not above 0.
    """
    long_px, short_px = frame_pixels(format_key, ppi)
    return long_px * short_px / 1e6


@dataclass(frozen=True)
class ScanShape:
    """What a scan's pixels say about the frame.

    Attributes
    ----------
    ppi : float
        Resolution on the film, from the side that was cropped less.
    cropped_pct : float
        Share of the frame's area that the scan's shape lacks, 0 to 100; 0 if it has the frame's shape.
    is_whole : bool
        Whether the shape agrees with the whole frame within `OVERSCAN_TOLERANCE_PCT`.
    """

    ppi: float
    cropped_pct: float
    is_whole: bool


def scan_shape(width_px: int, height_px: int, format_key: str) -> ScanShape:
    """Resolution on the film and crop of a scan, whichever way it lies.

    A scan never shows more than its frame: of the two sides the one with fewer pixels per mm is taken as whole.

    Raises
    ------
    Refusal
        If there is no such format.
    ValueError
        If a side is not above 0.
    """
    frame = film_format(format_key)
    long_ppi = ppi_on_film(max(width_px, height_px), frame.long_mm)
    short_ppi = ppi_on_film(min(width_px, height_px), frame.short_mm)
    cropped_pct = 100 * (1 - min(long_ppi, short_ppi) / max(long_ppi, short_ppi))
    return ScanShape(max(long_ppi, short_ppi), cropped_pct, cropped_pct <= OVERSCAN_TOLERANCE_PCT)


def nearest_tier(width_px: int, height_px: int) -> ScanTier:
    """The tier whose long side is nearest in proportion.

    Raises
    ------
    ValueError
        If a side is not above 0.
    """
    require_above_zero("width_px", width_px)
    require_above_zero("height_px", height_px)
    long_px = max(width_px, height_px)
    return min(SCAN_TIERS, key=lambda tier: max(tier.long_px, long_px) / min(tier.long_px, long_px))
