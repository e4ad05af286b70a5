"""A roll whose negatives are back, for the tests of this room."""

from datetime import date
from pathlib import Path

import pytest

from dryside.book.frames import add_frames
from dryside.book.journey import RollState
from dryside.book.rolls import add_roll


@pytest.fixture
def make_roll(book):
    """A function that adds a roll with so many frames, its negatives back."""

    def make(count=36, *, first=1, film_format="135", state=RollState.NEGATIVES_BACK, **columns):
        with book.write() as conn:
            roll = add_roll(conn, film_format=film_format, process="c41", on=date(2026, 5, 1), state=state, **columns)
            labels = range(first, first + count)
            add_frames(
                conn, [{"roll_id": roll.id, "position": n, "label": str(label)} for n, label in enumerate(labels)]
            )
            return roll

    return make


@pytest.fixture(scope="session")
def photographs():
    """Twelve real photographs by their number."""
    folder = Path(__file__).parents[2].parent / "shared" / "data" / "film-photographs"
    found = {int(path.stem.split("-")[1]): path for path in folder.glob("photo-*.png")}
    if not found:
        pytest.skip("the shared test photographs are not beside the project")
    return found
