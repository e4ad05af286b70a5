"""A file's checksum for its way: fast enough to be taken of every capture."""

from __future__ import annotations

from pathlib import Path

CHUNK = 1 << 18  # stays in the second-level cache between reading and summing


def file_checksum(path: Path) -> str:
    """CRC-32 (that of ISO/IEC/IEEE 8802-3) of a file, eight hexadecimal digits."""
    try:
        from isal.isal_zlib import crc32
    except ImportError:  # no wheel for this machine
        from zlib import crc32

    value = 0
    buffer = bytearray(CHUNK)
    view = memoryview(buffer)
    with path.open("rb", buffering=0) as file:
        while count := file.readinto(buffer):
            value = crc32(view[:count], value)
    return f"{value:08x}"
