"""Files by their content: what a backup keeps of originals, pictures and paper, each content once."""

from __future__ import annotations

import errno
import hashlib
import os
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from dryside.book.files import BLOCK, PART, atomic_file, sha256_of
from dryside.film.refusal import Refusal

KEPT_FOLDERS = ("originals", "pictures", "paper")
SMALL = "thumbnails"  # made again from the originals when they are missing
"""Folder in pictures/ of small pictures for pages; they are made again when needed and kept by nobody."""


@dataclass(frozen=True)
class StoredFile:
    """A file of the book as a backup lists it; `mtime_ns` only spares hashing it again next time."""

    path: str
    sha256: str
    size: int
    mtime_ns: int


@dataclass(frozen=True)
class ContentStore:
    """A folder of contents named by their SHA-256."""

    folder: Path

    def path(self, sha256: str) -> Path:
        """Where that content lies (or would)."""
        return self.folder / sha256[:2] / sha256[2:]

    def has(self, sha256: str, size: int) -> bool:
        """Whether the content is there with its full length."""
        path = self.path(sha256)
        return path.exists() and path.stat().st_size == size

    def put(self, source: Path) -> str:
        """Copy a file in, hashing while copying and reading the copy back; returns its digest.

        Raises
        ------
        Refusal
            If the disk is full or the copy reads back differently.
        """
        digest = hashlib.sha256()
        self.folder.mkdir(parents=True, exist_ok=True)
        part = self.folder / f"incoming-{os.getpid()}{PART}"
        try:
            with source.open("rb") as stream, part.open("wb") as copy:
                while block := stream.read(BLOCK):
                    digest.update(block)
                    copy.write(block)
                copy.flush()
                os.fsync(copy.fileno())
            name = digest.hexdigest()
            if sha256_of(part) != name:
                raise Refusal(str(source), "its copy reads back differently", "The disk of the backup may be failing.")
            target = self.path(name)
            target.parent.mkdir(exist_ok=True)
            part.replace(target)
            return name
        except OSError as error:
            raise disk_refusal(str(self.folder), error) from error
        finally:
            part.unlink(missing_ok=True)

    def get(self, sha256: str, target: Path) -> None:
        """Copy a content out to `target`, whole or not at all, verified.

        Raises
        ------
        Refusal
            If the content is not there or is not what its name says.
        """
        source = self.path(sha256)
        if not source.exists():
            raise Refusal(str(source), "this content is missing from the backup", "Look for it in an older copy of it.")
        digest = hashlib.sha256()
        target.parent.mkdir(parents=True, exist_ok=True)
        try:
            with source.open("rb") as stream, atomic_file(target) as copy:
                while block := stream.read(BLOCK):
                    digest.update(block)
                    copy.write(block)
                if digest.hexdigest() != sha256:
                    raise Refusal(str(source), "the backup of this file is damaged", "Look in another backup.")
        except OSError as error:
            raise disk_refusal(str(target), error) from error


def disk_refusal(where: str, error: OSError) -> Refusal:
    """The refusal for a disk that takes no more, or another trouble of the file system."""
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return Refusal(where, "the disk is full; what was there before is untouched", "Make room and run it again.")
    return Refusal(where, f"it cannot be written ({error.strerror or error})", "Nothing half-written was left.")


def files_of(root: Path) -> Iterator[Path]:
    """Every file of the book that is kept, in order; unfinished and small ones are passed over."""
    for name in KEPT_FOLDERS:
        folder = root / name
        if folder.is_dir():
            made_again = folder / SMALL
            yield from sorted(
                path
                for path in folder.rglob("*")
                if path.is_file() and path.suffix != PART and not path.is_relative_to(made_again)
            )


def store_files(
    root: Path,
    paths: Iterable[Path],
    store: ContentStore,
    before: Mapping[str, StoredFile],
    step: Callable[[int, str], None],
) -> list[StoredFile]:
    """Put files into the store, each content once; one that looks untouched since `before` is not read again.

    Parameters
    ----------
    root : Path
        The book's folder; listed paths are relative to it.
    paths : iterable of Path
        The files.
    store : ContentStore
        Where to.
    before : mapping of str to StoredFile
        What the backup before listed, by path.
    step : callable
        Told the size of each file done, and its path.
    """
    listed = []
    for path in paths:
        name = path.relative_to(root).as_posix()
        try:
            status = path.stat()
        except FileNotFoundError:
            continue  # a picture that was made anew meanwhile
        known = before.get(name)
        untouched = known is not None and (known.size, known.mtime_ns) == (status.st_size, status.st_mtime_ns)
        sha256 = known.sha256 if known is not None and untouched else _name_of_original(name)
        if sha256 is None or not store.has(sha256, status.st_size):
            sha256 = store.put(path)
        listed.append(StoredFile(name, sha256, status.st_size, status.st_mtime_ns))
        step(status.st_size, name)
    return listed


def _name_of_original(name: str) -> str | None:
    """An original's digest, which is its name; None for other files."""
    folder, _, rest = name.partition("/")
    digest = rest.replace("/", "")
    return digest if folder == "originals" and len(digest) == 64 else None
