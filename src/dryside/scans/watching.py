"""Watch a folder for deliveries: each zip, folder or handful of pictures that appears is received once it is whole."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from dryside.book.folder import Book
from dryside.film.refusal import NotFound, Refusal
from dryside.scans.receive import Delivery, receive

SETTLE_S = 3.0  # nothing of a delivery has changed for so long: it has been copied or downloaded
_UNFINISHED = (".part", ".crdownload", ".tmp", ".download", ".partial")


def deliveries_in(folder: Path) -> list[list[Path]]:
    """What lies in a folder, by delivery: each zip and each folder for itself, loose files together."""
    entries = sorted(path for path in folder.iterdir() if not path.name.startswith("."))
    entries = [path for path in entries if not path.name.lower().endswith(_UNFINISHED)]
    alone = [path for path in entries if path.is_dir() or path.suffix.lower() == ".zip"]
    loose = [path for path in entries if path not in alone]
    return [[path] for path in alone] + ([loose] if loose else [])


def newest_change(paths: list[Path]) -> float:
    """When anything of a delivery was last written, seconds since 1970."""
    files = [file for path in paths for file in ([path, *path.rglob("*")] if path.is_dir() else [path])]
    return max((file.stat().st_mtime for file in files if file.exists()), default=0.0)


def watch_folder(
    book: Book,
    folder: Path,
    tell: Callable[[Delivery | Refusal], None],
    *,
    settle_s: float = SETTLE_S,
    stop: threading.Event | None = None,
) -> None:
    """Receive what lies in a folder and what comes, until `stop` is set.

    Parameters
    ----------
    book : Book
        The book.
    folder : Path
        Where deliveries are put.
    tell : callable
        Called with each delivery, or with the refusal of one that cannot be taken; neither ends the watch.
    settle_s : float, optional
        How long a delivery must have been left alone, seconds.
    stop : threading.Event, optional
        Ends the watch.

    Raises
    ------
    NotFound
        If the folder is not there.
    """
    if not folder.is_dir():
        raise NotFound(str(folder), "there is no such folder", "Make it, or name another.")
    done: dict[tuple[Path, ...], float] = {}
    for _ in _changes(folder, settle_s, stop):
        for paths in deliveries_in(folder):
            changed = newest_change(paths)
            key = tuple(paths)
            if done.get(key) == changed or time.time() - changed < settle_s:
                continue
            done[key] = changed
            try:
                tell(receive(book, paths))
            except Refusal as refusal:
                tell(refusal)


def _changes(folder: Path, settle_s: float, stop: threading.Event | None) -> Iterator[None]:
    """Now, after each burst of changes, and once more when things have settled."""
    from watchfiles import watch

    yield
    pause_ms = max(50, int(settle_s * 1000))
    for _ in watch(folder, stop_event=stop, yield_on_timeout=True, rust_timeout=pause_ms, debounce=pause_ms):
        yield
