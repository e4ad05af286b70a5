"""Which sleeve pages a roll may go into: those named, else all that its film's pages are sold as."""

from __future__ import annotations

from dryside.film.formats import family
from dryside.film.refusal import Refusal
from dryside.film.sleeves import SLEEVE_PAGES, SleevePage, sleeve_page


def pages_for(frame_format: str, named: str | None = None) -> list[SleevePage]:
    """Pages for film of a frame size, the best liked first.

    Parameters
    ----------
    frame_format : str
        Frame size, as film.formats names it.
    named : str, optional
        Pages at hand, like `7x5,6x6`.

    Raises
    ------
    Refusal
        If a page cannot be read, or none is known for the film.
    """
    film = {"half": "135", "panoramic": "135"}.get(frame_format, family(frame_format))
    if named:
        return [sleeve_page(text, film=film) for text in named.split(",") if text.strip()]
    if film not in SLEEVE_PAGES:
        raise Refusal(f"format {frame_format}", "no sleeve page is known for it", "Name one: --pages 1x1.")
    return list(SLEEVE_PAGES[film])
