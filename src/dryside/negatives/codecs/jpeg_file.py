"""JPEG files with a colour profile and XMP, from 8-bit pictures in memory."""

from __future__ import annotations

import struct

import numpy as np
from numpy.typing import NDArray

APP1, APP2 = b"\xff\xe1", b"\xff\xe2"
XMP_NAME = b"http://ns.adobe.com/xap/1.0/\0"
ICC_NAME = b"ICC_PROFILE\0"
MOST_IN_SEGMENT = 65533


def encode_jpeg(picture: NDArray[np.uint8], quality: int, profile: bytes, xmp: bytes) -> list[bytes | memoryview]:
    """The parts of a baseline JPEG of an RGB picture of shape (rows, columns, 3), colour at half resolution (4:2:0).

    The profile stands in APP2 segments (ICC.1:2022, annex B.4) and XMP, if any and if it fits, in APP1 (ISO 16684-1).
    """
    import simplejpeg

    data = simplejpeg.encode_jpeg(np.ascontiguousarray(picture), quality, "RGB", "420")
    first = 2  # after the start of image; JFIF's own segment stays first
    if data[2:4] == b"\xff\xe0":
        first = 4 + struct.unpack(">H", data[4:6])[0]
    # The picture's own data may be large and is not copied.
    return [data[:first], _xmp_segment(xmp), _profile_segments(profile), memoryview(data)[first:]]


def _xmp_segment(xmp: bytes) -> bytes:
    content = XMP_NAME + xmp
    if not xmp or len(content) > MOST_IN_SEGMENT:
        return b""
    return APP1 + struct.pack(">H", len(content) + 2) + content


def _profile_segments(profile: bytes) -> bytes:
    room = MOST_IN_SEGMENT - len(ICC_NAME) - 2
    parts = [profile[start : start + room] for start in range(0, len(profile), room)]
    segments = []
    for number, part in enumerate(parts, 1):
        content = ICC_NAME + bytes([number, len(parts)]) + part
        segments.append(APP2 + struct.pack(">H", len(content) + 2) + content)
    return b"".join(segments)
