"""A file's checksum for its way: fast enough to be taken of every capture."""

from __future__ import annotations

import mmap
from pathlib import Path


def file_checksum(path: Path) -> str:
    """CRC-32 (that of ISO/IEC/IEEE 8802-3) of a file that is not empty, eight hexadecimal digits."""
    try:
        from isal.isal_zlib import crc32
    except ImportError:  # no wheel for this machine
        from zlib import crc32

    with path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as mapped:
        return f"{crc32(mapped):08x}"
