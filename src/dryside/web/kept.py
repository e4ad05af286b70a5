"""Folders of things that can be made again, held within a size: what was used longest ago goes first."""

from __future__ import annotations

import contextlib
import os
import time
from dataclasses import dataclass
from pathlib import Path

SMALL_FRAMES_BYTES = 3 << 30
"""Frames of captures for the Negatives page, about 10 MB each: some 300, eight rolls."""
THUMBNAILS_BYTES = 4 << 30
"""Pictures made small for pages, 10 to 400 kB each."""
TRIM_TO = 0.9


@dataclass(frozen=True)
class Trimmed:
    """What a folder holds after trimming, and how many files left it."""

    size_bytes: int
    dropped: int


def note_use(path: Path) -> None:
    """Remember that a file was used now; its time of change stays, so that caches by that time hold."""
    with contextlib.suppress(OSError):
        os.utime(path, ns=(time.time_ns(), path.stat().st_mtime_ns))


def trim(folder: Path, pattern: str, limit_bytes: int) -> Trimmed:
    """Drop files until those matching `pattern` below `folder` are within the limit, the longest unused first.

    A file that another process is reading stays readable to it; one that it drops first is no fault.

    Parameters
    ----------
    folder : Path
        Looked through to the bottom; need not be there.
    pattern : str
        As `Path.rglob` takes it.
    limit_bytes : int
        Where it is passed, a tenth more is dropped, so that the next file does not trim again.
    """
    found = []
    for path in folder.rglob(pattern):
        with contextlib.suppress(OSError):
            known = path.stat()
            found.append((max(known.st_atime_ns, known.st_mtime_ns), known.st_size, path))
    size = sum(one for _, one, _ in found)
    dropped = 0
    if size > limit_bytes:
        for _, one, path in sorted(found, key=lambda each: each[0]):
            if size <= limit_bytes * TRIM_TO:
                break
            path.unlink(missing_ok=True)
            size, dropped = size - one, dropped + 1
    return Trimmed(size, dropped)
