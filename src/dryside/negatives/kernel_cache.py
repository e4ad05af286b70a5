"""Where compiled kernels are kept, so that only the first run ever compiles."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path
from typing import Any

PACKAGE_CACHE = Path(__file__).parent / "__pycache__"


def cache_place() -> Path:
    """Folder of the compiled kernels: beside the code, else the user's cache, else a temporary folder."""
    import platformdirs

    told = os.environ.get("NUMBA_CACHE_DIR")
    if told:
        return Path(told)
    for place in (PACKAGE_CACHE, Path(platformdirs.user_cache_dir("dryside")) / "kernels"):
        if _writable(place):
            return place
    return Path(tempfile.gettempdir()) / f"dryside-kernels-{os.getuid() if hasattr(os, 'getuid') else 0}"


def ensure_cache_place() -> None:
    """Tell numba where to keep what it compiles, where its own choice (beside the code) cannot be written."""
    from numba import config

    settings: Any = config
    place = cache_place()
    if place != PACKAGE_CACHE and not settings.CACHE_DIR:
        place.mkdir(parents=True, exist_ok=True)
        settings.CACHE_DIR = str(place)


def compiled_before() -> bool:
    """Whether a compiled kernel lies in the cache (a stale one counts; then the message is missed, nothing else)."""
    place = cache_place()
    return any(place.rglob("kernel.develop_rows-*.nbi")) if place.is_dir() else False


def _writable(place: Path) -> bool:
    try:
        place.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=place):
            return True
    except OSError:
        return False
