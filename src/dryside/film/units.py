"""What lengths and arguments have in common on this floor."""

from __future__ import annotations

MM_PER_INCH = 25.4


def require_above_zero(name: str, number: float) -> None:
    """Refuse an argument that is not above 0, NaN included.

    Raises
    ------
    ValueError
        If it is not; the message names the argument, whose name carries its unit.
    """
    if not number > 0:
        raise ValueError(f"{name} is {number}; it must be above 0")
