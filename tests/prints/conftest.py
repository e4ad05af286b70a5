"""Real pictures that lie beside the project, where they are there."""

from pathlib import Path

import pytest

SHARED = Path(__file__).parents[2].parent / "shared" / "data" / "film-photographs"


@pytest.fixture(scope="session")
def photographs():
    """Twelve real photographs by their number."""
    found = {int(path.stem.split("-")[1]): path for path in SHARED.glob("photo-*.png")}
    if not found:
        pytest.skip("the shared test photographs are not beside the project")
    return found
