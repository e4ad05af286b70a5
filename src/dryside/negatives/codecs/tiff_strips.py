"""TIFF in strips: rows out of any layout, and strips of 16-bit RGB into a file that every reader opens.

Reading hands out rows of strips or tiles as they are asked for; writing takes finished strips, already compressed.
ISA-L deflates many times faster than zlib and its files are plain Deflate with a horizontal predictor.
"""

from __future__ import annotations

import os
from collections.abc import Iterable
from pathlib import Path
from types import TracebackType
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from dryside.film.refusal import Refusal

Compression = Literal["deflate", "zstd", "none"]
ROWS_PER_STRIP = 64
DEFLATE = (8, 32946)  # TIFF's own (Technical Note 2, 1996), and an older number for the same
COMPRESSION_TAGS = {"deflate": 8, "zstd": 50000, "none": 1}
PALETTE, MASK, CMYK, COLOUR_FILTERS = 3, 4, 5, 32803
REFUSED_PHOTOMETRIC = {PALETTE: "a palette", MASK: "a mask", CMYK: "ink colours (CMYK)"}
MIN_IS_WHITE = 0
XMP_TAG = 700
# tifffile gathers strips before it writes them, by default a quarter of a gigabyte.
WRITE_BUFFER = 1 << 22
EXPORT_AGAIN = "Export it again, as 16-bit RGB."


class TiffRows:
    """Rows of the largest picture in a TIFF file; one thread at a time.

    Parameters
    ----------
    path : Path
        Classic TIFF or BigTIFF: strips or tiles, 8, 16 or 32 bits, integer or float, any compression tifffile knows.

    Attributes
    ----------
    height, width, channels : int
        Size in pixels; channels are 1, 2 (grey and one more), 3 or 4.
    dtype : numpy.dtype
        As stored, in this machine's byte order: uint8, uint16, uint32 or a float.
    profile : bytes or None
        The ICC profile in the file.
    description : str
        Tag ImageDescription, '' where there is none.
    orientation : int
        Exif orientation, 1 to 8.
    date_time : str
        Tag DateTime, '' where there is none.
    photometric : int
        Tag PhotometricInterpretation.

    Raises
    ------
    Refusal
        If the file is no TIFF, is cut short, or holds what is no picture of light.
    """

    def __init__(self, path: Path) -> None:
        import tifffile

        self._path = path
        try:
            self._file = tifffile.TiffFile(path)
            pages: list[Any] = list(self._file.pages)
            page = max(pages, key=lambda p: p.imagewidth * p.imagelength)
        except (tifffile.TiffFileError, ValueError, KeyError, IndexError, OSError, TypeError, MemoryError) as error:
            raise Refusal(str(path), f"not a readable TIFF ({error})", EXPORT_AGAIN) from error
        self._page: Any = page
        self._descriptor = -1
        self._held: tuple[int, NDArray[Any]] | None = None
        try:
            self._take_in(page)
        except BaseException:
            self._file.close()
            raise
        self._descriptor = os.open(path, os.O_RDONLY)

    def _take_in(self, page: Any) -> None:
        """Facts of the page, refused where they are no picture of light."""
        self.photometric = int(page.photometric)
        if self.photometric in REFUSED_PHOTOMETRIC:
            kind = REFUSED_PHOTOMETRIC[self.photometric]
            raise Refusal(str(self._path), f"it holds {kind}, not light", EXPORT_AGAIN)
        if page.dtype is None or page.dtype.kind not in "uf" or page.dtype.itemsize > 8:
            raise Refusal(str(self._path), f"samples of {page.bitspersample} bits cannot be used", EXPORT_AGAIN)
        self.height, self.width = int(page.imagelength), int(page.imagewidth)
        self.channels = int(page.samplesperpixel)
        if self.channels > 4 or int(page.imagedepth) != 1:
            raise Refusal(str(self._path), f"{self.channels} channels; 1, 3 or 4 are needed", EXPORT_AGAIN)
        self.dtype = page.dtype.newbyteorder("=")
        self._check_whole(page)
        self.profile = _tag(page, "InterColorProfile")
        self.description = str(page.description or "")
        self.orientation = int(_tag(page, "Orientation") or 1)
        self.date_time = str(_tag(page, "DateTime") or "")
        self._planes = self.channels if int(page.planarconfig) == 2 else 1
        self._block_rows = int(page.tilelength if page.is_tiled else page.rowsperstrip)
        self._inverted = self.photometric == MIN_IS_WHITE
        fast = int(page.compression) in DEFLATE and int(page.predictor) in (1, 2) and self.dtype.kind == "u"
        plain = not page.is_tiled and self._planes == 1 and self._file.byteorder == "<" and int(page.fillorder) == 1
        whole_bytes = page.bitspersample == 8 * self.dtype.itemsize
        self._isal = fast and plain and whole_bytes
        self._raw = int(page.compression) == 1 and plain and whole_bytes and int(page.predictor) == 1

    def _check_whole(self, page: Any) -> None:
        """Every strip lies inside the file."""
        size = self._path.stat().st_size
        reach = max((o + n for o, n in zip(page.dataoffsets, page.databytecounts, strict=True)), default=0)
        if not page.dataoffsets or reach > size:
            found = f"cut short: {reach:,} bytes are spoken of, {size:,} are there"
            raise Refusal(str(self._path), found, "Copy it again from where it came.")

    def __enter__(self) -> TiffRows:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the file."""
        if self._descriptor >= 0:
            os.close(self._descriptor)
            self._descriptor = -1
        self._file.close()

    @property
    def shareable(self) -> bool:
        """Whether several threads may ask for rows at once: nothing is decoded or kept between calls."""
        return self._raw

    def rows(self, start: int, stop: int) -> NDArray[Any]:
        """Rows `start` to `stop` (not included), shape (stop - start, width, channels), as stored."""
        if self._raw and len(self._page.dataoffsets) > 0:
            return self._finish(self._plain_rows(start, stop))
        out = np.empty((stop - start, self.width, self.channels), self.dtype)
        for block in range(start // self._block_rows, -(-stop // self._block_rows)):
            top = block * self._block_rows
            data = self._block(block)
            low, high = max(start, top), min(stop, top + len(data))
            out[low - start : high - start] = data[low - top : high - top]
        return self._finish(out)

    def _finish(self, rows: NDArray[Any]) -> NDArray[Any]:
        if not self._inverted:
            return rows
        top = np.iinfo(self.dtype).max if self.dtype.kind == "u" else 1.0
        return np.asarray(top - rows, self.dtype)

    def _plain_rows(self, start: int, stop: int) -> NDArray[Any]:
        """Rows of an uncompressed file: read straight into place."""
        line = self.width * self.channels * self.dtype.itemsize
        out = np.empty((stop - start, self.width, self.channels), self.dtype)
        view = memoryview(out).cast("B")  # type: ignore[arg-type]  # arrays are buffers from Python 3.12 on
        row = start
        while row < stop:
            strip, inside = divmod(row, self._block_rows)
            n = min(stop, (strip + 1) * self._block_rows) - row
            place = view[(row - start) * line : (row - start + n) * line]
            got = os.preadv(self._descriptor, [place], self._page.dataoffsets[strip] + inside * line)
            if got != len(place):
                raise self._damaged(f"strip {strip + 1} ends early")
            row += n
        return out

    def _block(self, block: int) -> NDArray[Any]:
        """Decoded rows of one strip, or of one row of tiles; the last one is kept."""
        if self._held is not None and self._held[0] == block:
            return self._held[1]
        self._held = None
        n = min(self._block_rows, self.height - block * self._block_rows)
        data = self._inflated(block, n) if self._isal else self._decoded(block, n)
        self._held = (block, data)
        return data

    def _inflated(self, block: int, n: int) -> NDArray[Any]:
        """A Deflate strip by ISA-L, at most as long as it should be."""
        import imagecodecs
        from isal import isal_zlib

        needed = n * self.width * self.channels * self.dtype.itemsize
        encoded = os.pread(self._descriptor, self._page.databytecounts[block], self._page.dataoffsets[block])
        try:
            data = isal_zlib.decompressobj().decompress(encoded, needed)
        except isal_zlib.error as error:  # type: ignore[misc]  # typed as a value, it is a class
            raise self._damaged(f"strip {block + 1} cannot be decompressed") from error
        if len(data) != needed:
            raise self._damaged(f"strip {block + 1} ends early")
        rows = np.frombuffer(data, self.dtype).reshape(n, self.width, self.channels)
        if int(self._page.predictor) == 2:
            return np.asarray(imagecodecs.delta_decode(rows, axis=1))
        return rows

    def _decoded(self, block: int, n: int) -> NDArray[Any]:
        """The strip or row of tiles by tifffile, every plane of it."""
        out = np.zeros((n, self.width, self.channels), self.dtype)
        blocks = -(-self.height // self._block_rows)
        across = len(self._page.dataoffsets) // (blocks * self._planes)
        for plane in range(self._planes):
            for column in range(across):
                index = (plane * blocks + block) * across + column
                self._place(out, index, block * self._block_rows)
        return out

    def _place(self, out: NDArray[Any], index: int, top: int) -> None:
        """Decode one strip or tile into the rows `out`, whose first is row `top`."""
        encoded = os.pread(self._descriptor, self._page.databytecounts[index], self._page.dataoffsets[index])
        if not encoded:
            return
        tables = {"jpegtables": self._page.jpegtables} if self._page.jpegtables is not None else {}
        try:
            data, (plane, _, row, column, _), _ = self._page.decode(encoded, index, **tables)
        except (ValueError, RuntimeError, NotImplementedError, TypeError) as error:
            raise self._damaged(f"strip or tile {index + 1} cannot be decoded ({error})") from error
        data = data[0, : len(out) - (row - top), : self.width - column]
        channels = slice(plane, plane + 1) if self._planes > 1 else slice(None)
        out[row - top : row - top + data.shape[0], column : column + data.shape[1], channels] = data

    def _damaged(self, found: str) -> Refusal:
        return Refusal(str(self._path), f"damaged: {found}", "Copy it again from where it came.")


def _tag(page: Any, name: str) -> Any:
    tag = page.tags.get(name)
    return None if tag is None else tag.value


def encode_strip(rows: NDArray[np.uint16], compression: Compression) -> bytes:
    """One strip as it stands in the file. `rows` of shape (n, width, 3) is overwritten unless 'none'."""
    if compression == "none":
        return rows.tobytes()
    import imagecodecs

    delta: Any = imagecodecs.delta_encode(rows, axis=1, out=rows)
    if compression == "zstd":
        return bytes(imagecodecs.zstd_encode(delta, level=1))
    return _deflate(delta)


def _deflate(rows: Any) -> bytes:
    try:
        from isal import isal_zlib
    except ImportError:  # no wheel for this machine: the same format, slower
        import imagecodecs

        return bytes(imagecodecs.deflate_encode(rows, level=1))
    return isal_zlib.compress(memoryview(rows).cast("B"), 1)


def write_tiff(
    path: Path,
    strips: Iterable[bytes],
    *,
    shape: tuple[int, int],
    compression: Compression,
    profile: bytes,
    xmp: bytes,
    software: str,
    resolution_ppi: float | None = None,
) -> None:
    """Write a 16-bit RGB TIFF of `shape` (rows, columns) from strips of `ROWS_PER_STRIP` rows by `encode_strip`.

    The bytes depend on the arguments alone: no clock, no machine.
    """
    import tifffile

    tifffile.imwrite(
        path,
        iter(strips),
        shape=(*shape, 3),
        dtype=np.uint16,
        photometric="rgb",
        planarconfig="contig",
        rowsperstrip=ROWS_PER_STRIP,
        compression=COMPRESSION_TAGS[compression],
        predictor=compression != "none",
        iccprofile=profile,
        software=software,
        resolution=None if resolution_ppi is None else (resolution_ppi, resolution_ppi),
        resolutionunit=None if resolution_ppi is None else "INCH",
        metadata=None,
        buffersize=WRITE_BUFFER,
        extratags=[(XMP_TAG, "B", len(xmp), xmp, True)],
        bigtiff=shape[0] * shape[1] * 6 > 2**32 - 2**26,
    )
