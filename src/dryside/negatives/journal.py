"""What of a batch is done: one line a frame, so that a run that was broken off goes on where it stopped."""

from __future__ import annotations

import hashlib
import json
import os
import threading
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from dryside.film.refusal import Refusal
from dryside.negatives.write_positive import PositiveFiles

JOURNAL_NAME = ".dryside-invert.jsonl"


def job_key(source: Path, description: Mapping[str, Any]) -> str:
    """A name for 'this source as it is now, converted in this way'."""
    stat = source.stat()
    told = {"name": source.name, "bytes": stat.st_size, "changed": stat.st_mtime_ns, **description}
    return hashlib.sha256(json.dumps(told, sort_keys=True).encode()).hexdigest()


def written_names(folder: Path) -> set[str]:
    """Names of files in a folder that its journal says were written by earlier runs; none where there is no journal."""
    path = folder / JOURNAL_NAME
    if not path.exists():
        return set()
    return {name for files in _entries(path).values() for name, *_ in files}


def _entries(path: Path) -> dict[str, list[list[Any]]]:
    """What a journal says is done; a last line that a crash cut short is passed over."""
    done = {}
    for line in path.read_text(encoding="utf-8", errors="replace").splitlines():
        try:
            entry = json.loads(line)
            done[entry["key"]] = entry["files"]
        except (ValueError, KeyError, TypeError):
            continue
    return done


class Journal:
    """The journal of an output folder; safe to use from several threads.

    Raises
    ------
    Refusal
        If the folder cannot be written.
    """

    def __init__(self, folder: Path) -> None:
        self._path = folder / JOURNAL_NAME
        self._folder = folder
        self._lock = threading.Lock()
        self._done = _entries(self._path) if self._path.exists() else {}
        try:
            self._file = self._path.open("a", encoding="utf-8")
        except OSError as error:
            raise Refusal(str(folder), f"cannot be written ({error.strerror})", "Name another folder.") from error

    def __enter__(self) -> Journal:
        return self

    def __exit__(self, *_: object) -> None:
        self._file.close()

    def has(self, key: str) -> bool:
        """Whether this was done and its files are still as they were written."""
        with self._lock:
            files = self._done.get(key)
        return files is not None and all(self._as_written(*one) for one in files)

    def add(self, key: str, files: PositiveFiles) -> None:
        """Note that `key` is done; on disk when this returns."""
        written = [one for one in (files.tiff, files.jpeg, files.thumbnail) if one is not None]
        entry = [[one.name, one.stat().st_size, one.stat().st_mtime_ns] for one in written]
        with self._lock:
            self._done[key] = entry
            self._file.write(json.dumps({"key": key, "files": entry}) + "\n")
            self._file.flush()
            os.fsync(self._file.fileno())

    def _as_written(self, name: str, size: int, changed_ns: int) -> bool:
        try:
            stat = (self._folder / name).stat()
        except OSError:
            return False
        return stat.st_size == size and stat.st_mtime_ns == changed_ns
