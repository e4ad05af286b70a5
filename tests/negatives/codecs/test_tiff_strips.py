import numpy as np
import pytest
import tifffile

from dryside.film.refusal import Refusal
from dryside.negatives.codecs.tiff_strips import ROWS_PER_STRIP, TiffRows, encode_strip, write_tiff
from dryside.negatives.output_profiles import icc_profile

ROWS, COLUMNS = 211, 157


def picture(dtype, channels=3, seed=1):
    rng = np.random.default_rng(seed)
    if np.dtype(dtype).kind == "f":
        return rng.random((ROWS, COLUMNS, channels)).astype(dtype)
    return rng.integers(0, np.iinfo(dtype).max, (ROWS, COLUMNS, channels), dtype=dtype)


LAYOUTS = {
    "plain": {},
    "one strip": {"rowsperstrip": ROWS},
    "strips of 7": {"rowsperstrip": 7},
    "deflate with predictor": {"compression": "deflate", "predictor": True, "rowsperstrip": 16},
    "deflate": {"compression": "deflate", "rowsperstrip": 16},
    "LZW": {"compression": "lzw", "predictor": True, "rowsperstrip": 20},
    "zstd": {"compression": "zstd", "predictor": True, "rowsperstrip": 20},
    "tiles": {"tile": (64, 48)},
    "deflated tiles": {"tile": (64, 48), "compression": "deflate", "predictor": True},
    "planes": {"planarconfig": "separate", "rowsperstrip": 30},
    "deflated planes": {"planarconfig": "separate", "compression": "deflate", "rowsperstrip": 30},
    "tiles in planes": {"planarconfig": "separate", "tile": (64, 48)},
    "BigTIFF": {"bigtiff": True},
    "big end first": {"byteorder": ">", "rowsperstrip": 16},
    "big end first, deflate": {"byteorder": ">", "compression": "deflate", "predictor": True, "rowsperstrip": 16},
}


@pytest.mark.parametrize("dtype", ["uint8", "uint16", "float32"])
@pytest.mark.parametrize("layout", LAYOUTS)
def test_rows_of_every_layout_are_those_that_tifffile_wrote(tmp_path, layout, dtype):
    told = dict(LAYOUTS[layout])
    writer = {key: told.pop(key) for key in ("bigtiff", "byteorder") if key in told}
    whole = picture(dtype)
    stored = np.moveaxis(whole, 2, 0) if told.get("planarconfig") == "separate" else whole
    path = tmp_path / "a.tif"
    with tifffile.TiffWriter(path, **writer) as file:
        file.write(stored, photometric="rgb", **told)
    with TiffRows(path) as rows:
        assert (rows.height, rows.width, rows.channels, rows.dtype) == (ROWS, COLUMNS, 3, np.dtype(dtype))
        assert np.array_equal(rows.rows(0, ROWS), whole)
        assert np.array_equal(rows.rows(45, 46), whole[45:46])
        assert np.array_equal(rows.rows(13, 140), whole[13:140])


@pytest.mark.parametrize("channels", [1, 2, 4])
def test_grey_and_a_fourth_channel_are_read(tmp_path, channels):
    whole = picture("uint16", channels)
    stored = whole[..., 0] if channels == 1 else whole
    kind = "minisblack" if channels < 3 else "rgb"
    tifffile.imwrite(
        tmp_path / "a.tif",
        stored,
        photometric=kind,
        planarconfig="contig",
        extrasamples=["unspecified"] * (channels in (2, 4)),
    )
    with TiffRows(tmp_path / "a.tif") as rows:
        assert np.array_equal(rows.rows(0, ROWS), whole)


def test_where_white_is_zero_light_is_turned_round(tmp_path):
    whole = picture("uint16", 1)
    tifffile.imwrite(tmp_path / "a.tif", whole[..., 0], photometric="miniswhite")
    with TiffRows(tmp_path / "a.tif") as rows:
        assert np.array_equal(rows.rows(0, 5), 65535 - whole[:5])


@pytest.mark.parametrize("kept", [0.3, 0.9, 0.999])
@pytest.mark.parametrize("told", [{}, {"compression": "deflate", "rowsperstrip": 16}])
def test_a_file_cut_short_is_refused_before_anything_is_read(tmp_path, kept, told):
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, picture("uint16"), photometric="rgb", **told)
    whole = path.read_bytes()
    path.write_bytes(whole[: int(len(whole) * kept)])
    with pytest.raises(Refusal, match=r"cut short|not a readable TIFF"):
        TiffRows(path)


def test_a_strip_that_does_not_decompress_is_refused(tmp_path):
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, picture("uint16"), photometric="rgb", compression="deflate", rowsperstrip=16)
    with tifffile.TiffFile(path) as file:
        place = file.pages[0].dataoffsets[3]
    data = bytearray(path.read_bytes())
    data[place : place + 40] = b"\x55" * 40
    path.write_bytes(bytes(data))
    with TiffRows(path) as rows, pytest.raises(Refusal, match="strip 4"):
        rows.rows(0, ROWS)


def test_a_strip_that_would_inflate_to_more_than_the_picture_is_not_inflated(tmp_path):
    import zlib

    path = tmp_path / "bomb.tif"
    bomb = zlib.compress(bytes(200_000_000), 9)
    tifffile.imwrite(
        path, iter([bomb]), shape=(64, 64, 3), dtype="uint16", photometric="rgb", compression="deflate", rowsperstrip=64
    )
    with TiffRows(path) as rows:
        assert rows.rows(0, 64).nbytes == 64 * 64 * 6


@pytest.mark.parametrize(("kind", "found"), [("palette", "a palette"), ("separated", "ink colours")])
def test_what_is_no_light_is_refused(tmp_path, kind, found):
    path = tmp_path / "a.tif"
    if kind == "palette":
        tifffile.imwrite(
            path, picture("uint8", 1)[..., 0], photometric="palette", colormap=np.zeros((3, 256), np.uint16)
        )
    else:
        tifffile.imwrite(path, picture("uint8", 4), photometric="separated")
    with pytest.raises(Refusal, match=found):
        TiffRows(path)


@pytest.mark.parametrize("compression", ["deflate", "zstd", "none"])
def test_tifffile_reads_what_was_written_bit_for_bit(tmp_path, compression):
    whole = picture("uint16")
    path = tmp_path / "a.tif"
    strips = (encode_strip(whole[k : k + ROWS_PER_STRIP].copy(), compression) for k in range(0, ROWS, ROWS_PER_STRIP))
    profile = icc_profile("sRGB", "srgb")
    write_tiff(
        path,
        strips,
        shape=(ROWS, COLUMNS),
        compression=compression,
        profile=profile,
        xmp=b"<x/>",
        software="Test 1",
        resolution_ppi=2540.0,
    )
    assert np.array_equal(tifffile.imread(path), whole)
    with tifffile.TiffFile(path) as file:
        tags = file.pages[0].tags
        assert tags["InterColorProfile"].value == profile
        assert tags["Software"].value == "Test 1"
        assert tags["XResolution"].value == (2540, 1)


def test_opencv_and_pillow_read_what_was_written(tmp_path):
    import cv2
    from PIL import Image

    whole = picture("uint16")
    path = tmp_path / "a.tif"
    strips = (encode_strip(whole[k : k + ROWS_PER_STRIP].copy(), "deflate") for k in range(0, ROWS, ROWS_PER_STRIP))
    write_tiff(
        path,
        strips,
        shape=(ROWS, COLUMNS),
        compression="deflate",
        profile=icc_profile("sRGB", "srgb"),
        xmp=b"<x/>",
        software="T",
    )
    assert np.array_equal(cv2.imread(str(path), cv2.IMREAD_UNCHANGED)[..., ::-1], whole)
    with Image.open(path) as image:
        assert image.size == (COLUMNS, ROWS)
