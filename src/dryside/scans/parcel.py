"""What a lab hands over, opened with care: folders, loose files and zips become a list of files, the rest is named.

Nothing is ever written under a name that came from outside: an entry is streamed to a place of the caller's choice, so
a name in a zip can do no harm. It is refused all the same where it leads out of its folder, since no honest program
writes such a name.
"""

from __future__ import annotations

import re
import stat
import struct
import unicodedata
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import BinaryIO

from dryside.film.refusal import NotFound, Refusal

LARGEST_ENTRY_BYTES = 8 << 30  # a 16-bit drum scan of 8x10 in at 4000 ppi is 7.7 GB: nothing that a lab sends is larger
LARGEST_PARCEL_BYTES = 256 << 30
# Deflate cannot do better than 1032:1 (RFC 1951: 258 bytes for 2 bits), and a picture with grain gets 1.1:1. A blank
# frame may reach hundreds, so one entry alone is judged only when it is large, and the zip as a whole by this ratio.
LARGEST_RATIO = 200
RATIO_COUNTS_FROM_BYTES = 512 << 20
_CHUNK = 1 << 20
_JUNK_NAMES = {".ds_store", "thumbs.db", "desktop.ini", "ehthumbs.db", ".nomedia", "__macosx"}
_DRIVE = re.compile(r"^[A-Za-z]:")
_LOCAL_HEADER_BYTES = 30


@dataclass(frozen=True)
class Entry:
    """One file of a parcel.

    Attributes
    ----------
    name : str
        Its name with `/` between folders, as the lab wrote it, made readable.
    size : int
        Bytes, unpacked.
    source : Path
        The file itself, or the zip it lies in.
    member : int or None
        Place in the zip's directory; None for a plain file.
    """

    name: str
    size: int
    source: Path
    member: int | None = None

    @property
    def base_name(self) -> str:
        """The name without folders."""
        return self.name.rsplit("/", 1)[-1]

    @property
    def folder(self) -> str:
        """The folders of the name, '' at the top."""
        return self.name.rsplit("/", 1)[0] if "/" in self.name else ""


@dataclass(frozen=True)
class Aside:
    """Something in a parcel that is not taken, with the reason; the rest goes on."""

    name: str
    found: str
    remedy: str = ""

    def as_dict(self) -> dict[str, str]:
        """Three parts, for JSON."""
        return {"name": self.name, "found": self.found, "remedy": self.remedy}


@dataclass(frozen=True)
class Parcel:
    """The files of one delivery in their natural order, and what was put aside."""

    entries: tuple[Entry, ...]
    asides: tuple[Aside, ...] = ()


def natural_key(name: str) -> tuple[tuple[int, int | str], ...]:
    """Sorting key that puts `f2` before `f10` and takes no notice of case."""
    parts = re.split(r"(\d+)", unicodedata.normalize("NFC", name).casefold())
    return tuple((0, int(part)) if part.isdigit() else (1, part) for part in parts if part)


def open_parcel(paths: Sequence[Path]) -> Parcel:
    """List what lies in the given zips, folders and files; nothing is unpacked yet.

    Parameters
    ----------
    paths : sequence of Path
        What was handed in, in any mixture.

    Returns
    -------
    Parcel
        Entries sorted by name the way a person counts (2 before 10). With several sources of which more than one is a
        zip or a folder, each entry's name begins with its source's.

    Raises
    ------
    NotFound
        If a path is not there.
    Refusal
        If a zip cannot be read at all and nothing else was handed in, or nothing was handed in.
    """
    if not paths:
        raise Refusal("delivery", "nothing was named", "Name a zip, a folder or picture files.")
    entries: list[Entry] = []
    asides: list[Aside] = []
    containers = sum(1 for path in paths if path.is_dir() or _is_zip(path))
    for path in paths:
        if not path.exists():
            raise NotFound(str(path), "there is no such file or folder", "Check the name.")
        prefix = f"{readable(path.stem if path.is_file() else path.name)}/" if containers > 1 else ""
        found = _open_one(path)
        if not found.entries and len(paths) == 1 and len(found.asides) == 1 and path.is_file():
            aside = found.asides[0]
            raise Refusal(aside.name, aside.found, aside.remedy)
        is_container = path.is_dir() or _is_zip(path)
        entries += [replace(e, name=prefix + e.name) if is_container else e for e in found.entries]
        asides += [replace(a, name=prefix + a.name) if is_container else a for a in found.asides]
    entries.sort(key=lambda entry: natural_key(entry.name))
    return Parcel(tuple(entries), tuple(asides))


def plain_names(entries: Sequence[Entry]) -> tuple[Entry, ...]:
    """The same entries named by their file names alone, where these tell them apart."""
    bases = [entry.base_name for entry in entries]
    if len(set(bases)) < len(bases):
        return tuple(entries)
    return tuple(replace(entry, name=base) for entry, base in zip(entries, bases, strict=True))


def copy_out(entry: Entry, target: BinaryIO) -> None:
    """Stream an entry's bytes into an open file.

    Raises
    ------
    Refusal
        If the zip's data is damaged or shorter than its directory says.
    """
    if entry.member is None:
        with entry.source.open("rb") as plain:
            while chunk := plain.read(_CHUNK):
                target.write(chunk)
        return
    try:
        with zipfile.ZipFile(entry.source) as archive, archive.open(archive.infolist()[entry.member]) as packed:
            while chunk := packed.read(_CHUNK):
                target.write(chunk)
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, struct.error, RuntimeError) as problem:
        raise Refusal(
            entry.name, f"damaged inside {entry.source.name} ({problem})", "Download the delivery again."
        ) from problem


def readable(name: str) -> str:
    """A file name as text that can be stored and shown: stray bytes are read in the likeliest old code page."""
    try:
        name.encode("utf-8")
        return unicodedata.normalize("NFC", name)
    except UnicodeEncodeError:
        return unicodedata.normalize("NFC", _guess(name.encode("utf-8", "surrogateescape"), b""))


def _open_one(path: Path) -> Parcel:
    if path.is_dir():
        return _open_folder(path)
    if _is_zip(path):
        return _open_zip(path)
    name = readable(path.name)
    size = path.stat().st_size
    if size == 0:
        return Parcel((), (_empty(name),))
    return Parcel((Entry(name, size, path),))


def _is_zip(path: Path) -> bool:
    """By content first: a zip under another name is a zip; a broken one is known by its name."""
    if not path.is_file():
        return False
    with path.open("rb") as file:
        head = file.read(4)
    return head in (b"PK\x03\x04", b"PK\x05\x06") or path.suffix.lower() == ".zip"


def _empty(name: str) -> Aside:
    return Aside(name, "the file is empty (0 bytes)", "Ask the lab for it, or download again.")


def _is_junk(name: str) -> bool:
    """Leftovers that operating systems put beside files; nobody wants to hear of them."""
    return any(part.casefold() in _JUNK_NAMES or part.startswith("._") for part in name.split("/"))


def _open_folder(folder: Path) -> Parcel:
    entries: list[Entry] = []
    asides: list[Aside] = []
    root = folder.resolve()
    for path in sorted(folder.rglob("*")):
        name = readable(path.relative_to(folder).as_posix())
        if _is_junk(name) or path.is_dir():
            continue
        if path.is_symlink() and not path.resolve().is_relative_to(root):
            asides.append(Aside(name, "a link that leads out of the folder", "Hand in the file itself."))
        elif not path.is_file():
            asides.append(Aside(name, "not a file"))
        elif path.stat().st_size == 0:
            asides.append(_empty(name))
        elif _is_zip(path):
            asides.append(_nested(name, "a folder"))
        else:
            entries.append(Entry(name, path.stat().st_size, path))
    return Parcel(tuple(entries), tuple(asides))


def _nested(name: str, where: str) -> Aside:
    return Aside(name, f"a zip inside {where}", f"Unpack it and hand in '{name.rsplit('/', 1)[-1]}' by itself.")


def _open_zip(path: Path) -> Parcel:
    label = readable(path.name)
    if path.stat().st_size == 0:
        return Parcel((), (_empty(label),))
    try:
        with zipfile.ZipFile(path) as archive:
            members = archive.infolist()
            names = _member_names(members)
            heads = [_first_bytes(archive, member) for member in members]
    except (zipfile.BadZipFile, struct.error, EOFError, OSError, ValueError) as problem:
        return Parcel((), (Aside(label, f"not a whole zip ({problem})", "Download it again."),))
    bomb = _bomb(members, path.stat().st_size)
    if bomb:
        return Parcel((), (Aside(label, bomb, "Ask the lab for plain files; nothing of it was unpacked."),))
    entries: list[Entry] = []
    asides: list[Aside] = []
    for place, (member, name, head) in enumerate(zip(members, names, heads, strict=True)):
        if member.is_dir() or _is_junk(name):
            continue
        aside = _member_problem(member, name, head)
        if aside is not None:
            asides.append(aside)
        else:
            entries.append(Entry(name, member.file_size, path, place))
    return Parcel(tuple(entries), tuple(asides))


def _member_problem(member: zipfile.ZipInfo, name: str, head: bytes | None) -> Aside | None:
    """Why a zip's member is put aside; None if it may be taken."""
    if _leads_out(name):
        return Aside(name, "the name leads out of the zip", "Nothing was written under it; ask the lab what it is.")
    if stat.S_ISLNK(member.external_attr >> 16):
        return Aside(name, "a link, not a file", "Ask the lab for the file itself.")
    if member.flag_bits & 0x1:
        return Aside(name, "locked with a password", "Unpack it with the password, then hand in the folder.")
    if member.file_size == 0:
        return _empty(name)
    if head is None:
        return Aside(
            name, f"packed by method {member.compress_type}, which cannot be read", "Unpack it and hand in the folder."
        )
    if head.startswith(b"PK\x03\x04") or name.lower().endswith(".zip"):
        return _nested(name, "a zip")
    return None


def _first_bytes(archive: zipfile.ZipFile, member: zipfile.ZipInfo) -> bytes | None:
    """The first bytes of a member; None if its packing is unknown, b'' where it cannot be opened at all."""
    if member.flag_bits & 0x1 or member.is_dir():
        return b""
    try:
        with archive.open(member) as file:
            return file.read(4)
    except NotImplementedError:
        return None
    except (zipfile.BadZipFile, zlib.error, EOFError, struct.error):
        return b""  # said when it is copied out, by name


def _leads_out(name: str) -> bool:
    parts = name.replace("\\", "/").split("/")
    return name.startswith(("/", "\\")) or bool(_DRIVE.match(name)) or ".." in parts or "\x00" in name


def _bomb(members: Sequence[zipfile.ZipInfo], zip_bytes: int) -> str:
    """What makes a zip's directory dishonest or too large to unpack; '' if nothing does."""
    total = sum(member.file_size for member in members)
    largest = max((member.file_size for member in members), default=0)
    if largest > LARGEST_ENTRY_BYTES or total > LARGEST_PARCEL_BYTES:
        return f"would unpack to {total / 1e9:.0f} GB"
    if total > RATIO_COUNTS_FROM_BYTES and total > LARGEST_RATIO * zip_bytes:
        return f"would unpack to {total / 1e9:.1f} GB, {total // max(zip_bytes, 1)} times its own size"
    end = 0
    for member in sorted(members, key=lambda item: item.header_offset):
        if member.header_offset < end:
            return "its files lie over each other"
        end = member.header_offset + _LOCAL_HEADER_BYTES + member.compress_size
    return ""


def _member_names(members: Sequence[zipfile.ZipInfo]) -> list[str]:
    """Names of a zip's members; those without the UTF-8 flag are read in the code page that suits them all.

    A zip says only 'UTF-8' or 'code page 437' (APPNOTE 4.4.4, bit 11), and many programs write the local code page
    under the second. Eight bytes tell little, the whole directory more, so it is judged together.
    """
    raws = [None if m.flag_bits & 0x800 else _raw_name(m) for m in members]
    foreign = b"\n".join(raw for raw in raws if raw is not None and not raw.isascii())
    names = [m.filename if raw is None else _guess(raw, foreign) for m, raw in zip(members, raws, strict=True)]
    return [unicodedata.normalize("NFC", name.replace("\\", "/")) for name in names]


def _raw_name(member: zipfile.ZipInfo) -> bytes | None:
    try:
        return member.orig_filename.encode("cp437")
    except UnicodeEncodeError:
        return None


def _guess(raw: bytes, context: bytes) -> str:
    """Bytes of a name as text: ASCII, UTF-8, else the likeliest code page of all the names together."""
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError:
        pass
    from charset_normalizer import from_bytes

    best = from_bytes(context or raw).best()
    try:
        return raw.decode(best.encoding if best is not None else "cp437")
    except (UnicodeDecodeError, LookupError):
        return raw.decode("cp437")


def iter_problems(parcel: Parcel) -> Iterator[str]:
    """The asides as lines for a person."""
    for aside in parcel.asides:
        yield str(Refusal(aside.name, aside.found, aside.remedy))
