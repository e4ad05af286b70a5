"""Tags written without touching the picture, and read back by a reader from outside the project."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import subprocess
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
import tifffile
from PIL import Image

from dryside.scans.facts import NEGATIVE, PictureFacts, exif_instant
from dryside.scans.tag_file import can_hold_tags, read_tags, tag_file, write_sidecar
from scans.pictures import drawn

FACTS = PictureFacts(
    roll="26-014-K", frame="12A", strip="3", taken_at="2026-05-03T14:02:11+02:00", shutter="1/250", aperture=5.6,
    focal_mm=50, exposure_index=800, maker="Tern", model="35", lens="Tern 50 f/1.8", latitude=-52.5012,
    longitude=13.4, altitude_m=34.2, creator="Mara Öhlund", caption="Kajplats, låg vatten", title="Low tide",
    keywords=("harbour", "ebb"), place="Nörrhamn", source_type=NEGATIVE, stock="Marram 400",
    process="c41", lab="Low Wharf",
)  # fmt: skip


def exiftool(path):
    """Tags by group as Debian's exiftool reads them; required in CI."""
    if shutil.which("exiftool") is None:
        if os.environ.get("CI") == "true":
            pytest.fail("exiftool is not installed (Debian: libimage-exiftool-perl)")
        pytest.skip("exiftool is not installed")
    out = subprocess.run(["exiftool", "-j", "-n", "-a", "-G1", "-struct", str(path)], capture_output=True, check=True)
    return json.loads(out.stdout)[0]


def made(tmp_path, kind):
    image = drawn(4, width=210, height=140)
    path = tmp_path / f"scan.{kind}"
    if kind == "tif":
        tifffile.imwrite(path, image, photometric="rgb", resolution=(2400, 2400), metadata=None)
    elif kind == "16.tif":
        tifffile.imwrite(path, image.astype(np.uint16) * 257, photometric="rgb", compression="deflate", metadata=None)
    else:
        Image.fromarray(image).save(path, quality=91) if kind == "jpg" else Image.fromarray(image).save(path)
    return path


def image_data(path):
    """Digest of the compressed image data itself: JPEG scans and tables, PNG IDAT chunks, TIFF strips."""
    data = path.read_bytes()
    if path.suffix == ".jpg":
        start = 2
        kept = b""
        while data[start + 1] != 0xDA:
            size = int.from_bytes(data[start + 2 : start + 4], "big") + 2
            if data[start + 1] in (0xDB, 0xC4, 0xC0, 0xC2):
                kept += data[start : start + size]
            start += size
        kept += data[start:]
    elif path.suffix == ".png":
        kept, start = b"", 8
        while start < len(data):
            size = int.from_bytes(data[start : start + 4], "big") + 12
            kept += data[start : start + size] if data[start + 4 : start + 8] in (b"IDAT", b"IHDR") else b""
            start += size
    else:
        with tifffile.TiffFile(path) as tiff:
            page = tiff.pages.first
            pairs = zip(page.dataoffsets, page.databytecounts, strict=True)
            kept = b"".join(data[offset : offset + size] for offset, size in pairs)
    return hashlib.sha256(kept).hexdigest()


@pytest.mark.parametrize("kind", ["jpg", "png", "tif", "16.tif"])
def test_image_data_stays_bit_for_bit(tmp_path, kind):
    path = made(tmp_path, kind)
    before, target = image_data(path), tmp_path / f"tagged.{kind}"
    whole = path.read_bytes()
    assert tag_file(path, target, FACTS) == [target]
    assert image_data(target) == before
    assert path.read_bytes() == whole
    assert target.read_bytes() != whole
    with Image.open(path) as a, Image.open(target) as b:
        assert np.array_equal(np.asarray(a), np.asarray(b))


def test_the_comparison_would_see_a_changed_picture(tmp_path):
    path = made(tmp_path, "jpg")
    before = image_data(path)
    Image.fromarray(drawn(5, width=210, height=140)).save(path, quality=91)
    assert image_data(path) != before


@pytest.mark.parametrize("kind", ["jpg", "png", "tif"])
def test_an_outside_reader_finds_every_fact(tmp_path, kind):
    target = tmp_path / f"tagged.{kind}"
    tag_file(made(tmp_path, kind), target, FACTS)
    tags = exiftool(target)
    expected = {
        "ExifIFD:DateTimeOriginal": "2026:05:03 14:02:11", "ExifIFD:OffsetTimeOriginal": "+02:00",
        "ExifIFD:ExposureTime": 0.004, "ExifIFD:FNumber": 5.6, "ExifIFD:ISO": 800, "ExifIFD:SensitivityType": 0,
        "ExifIFD:FocalLength": 50, "ExifIFD:LensModel": "Tern 50 f/1.8", "ExifIFD:FileSource": 1,
        "IFD0:Make": "Tern", "IFD0:Model": 35, "IFD0:Artist": "Mara Öhlund",
        "GPS:GPSLatitudeRef": "S", "GPS:GPSLongitudeRef": "E",
        "XMP-dc:Creator": ["Mara Öhlund"], "XMP-dc:Subject": ["harbour", "ebb"],
        "XMP-dc:Description": "Kajplats, låg vatten", "XMP-iptcCore:Location": "Nörrhamn",
        "XMP-photoshop:DateCreated": "2026:05:03 14:02:11+02:00",
        "XMP-iptcExt:DigitalSourceType": "http://cv.iptc.org/newscodes/digitalsourcetype/negativeFilm",
        "XMP-dryside:Roll": "26-014-K", "XMP-dryside:Frame": "12A", "XMP-dryside:Strip": 3,
    }  # fmt: skip
    assert {name: tags.get(name) for name in expected} == expected
    assert tags["Composite:GPSLatitude"] == pytest.approx(-52.5012, abs=1e-6)
    assert tags["Composite:GPSLongitude"] == pytest.approx(13.4, abs=1e-6)
    assert tags["GPS:GPSAltitude"] == pytest.approx(34.2)
    if kind != "png":
        assert tags["IPTC:By-line"] == "Mara Öhlund"
        assert tags["IPTC:Keywords"] == ["harbour", "ebb"]


def test_what_is_not_known_is_not_there(tmp_path):
    target = tmp_path / "tagged.jpg"
    tag_file(made(tmp_path, "jpg"), target, PictureFacts(roll="26-014-K", frame="1"))
    tags = exiftool(target)
    named = {name.rpartition(":")[2] for name in tags}
    assert not named & {"DateTimeOriginal", "ISO", "FNumber", "ExposureTime", "Make", "Model", "LensModel",
                        "GPSLatitude", "Creator", "DateCreated", "SensitivityType"}  # fmt: skip


def test_the_day_of_the_scan_never_stands_as_the_day_of_the_picture(tmp_path):
    path = tmp_path / "scan.jpg"
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0x9003] = "2026:06:20 09:00:00"
    exif[0x010F] = "scanner"
    Image.fromarray(drawn(1)).save(path, exif=exif)
    unknown = tmp_path / "unknown.jpg"
    tag_file(path, unknown, PictureFacts(roll="26-014-K", frame="1"))
    tags = exiftool(unknown)
    assert "ExifIFD:DateTimeOriginal" not in tags
    assert tags["ExifIFD:CreateDate"] == "2026:06:20 09:00:00"  # exiftool's name of DateTimeDigitized
    known = tmp_path / "known.jpg"
    tag_file(path, known, FACTS)
    assert exiftool(known)["ExifIFD:DateTimeOriginal"] == "2026:05:03 14:02:11"
    assert exiftool(known)["IFD0:Make"] == "Tern"


def test_a_day_without_a_time_goes_where_half_dates_may_stand(tmp_path):
    target = tmp_path / "tagged.jpg"
    tag_file(made(tmp_path, "jpg"), target, PictureFacts(taken_at="2026-05-03"))
    tags = exiftool(target)
    assert tags["XMP-photoshop:DateCreated"] == "2026:05:03"
    assert "ExifIFD:DateTimeOriginal" not in tags
    assert exif_instant("2026-05-03") is None


def test_a_sidecar_carries_everything_and_leaves_the_picture_alone(tmp_path):
    path = made(tmp_path, "jpg")
    before = path.read_bytes()
    sidecar = write_sidecar(path, FACTS)
    assert sidecar.name == "scan.jpg.xmp"
    assert path.read_bytes() == before
    tags = exiftool(sidecar)
    assert tags["XMP-exif:DateTimeOriginal"] == "2026:05:03 14:02:11+02:00"
    assert tags["XMP-exif:GPSLatitude"] == pytest.approx(-52.5012, abs=1e-6)
    assert tags["XMP-exif:ExposureTime"] == 0.004
    assert tags["XMP-dryside:Frame"] == "12A"


def test_other_properties_of_a_sidecar_stay_and_withdrawn_facts_go(tmp_path):
    path = made(tmp_path, "jpg")
    sidecar = write_sidecar(path, FACTS)
    text = sidecar.read_text("utf-8").replace(
        "<dryside:roll>", '<xmp:Rating xmlns:xmp="http://ns.adobe.com/xap/1.0/">4</xmp:Rating><dryside:roll>'
    )
    sidecar.write_text(text, "utf-8")
    write_sidecar(path, PictureFacts(roll="26-015-M"))
    tags = exiftool(sidecar)
    assert tags["XMP-xmp:Rating"] == 4
    assert tags["XMP-dryside:Roll"] == "26-015-M"
    assert "XMP-dryside:Frame" not in tags
    assert "XMP-exif:DateTimeOriginal" not in tags


def test_heic_and_big_tiff_get_a_sidecar(tmp_path):
    import pillow_heif

    heic, big = tmp_path / "a.heic", tmp_path / "big.tif"
    pillow_heif.from_pillow(Image.fromarray(drawn(1))).save(heic)
    tifffile.imwrite(big, drawn(1), photometric="rgb", bigtiff=True)
    for path in (heic, big):
        assert not can_hold_tags(path)
        target = tmp_path / f"tagged{path.suffix}"
        written = tag_file(path, target, FACTS)
        assert written == [target, tmp_path / f"tagged{path.suffix}.xmp"]
        assert target.read_bytes() == path.read_bytes()
        assert exiftool(written[1])["XMP-dryside:Roll"] == "26-014-K"


def test_many_at_once_do_not_mix(tmp_path):
    path = made(tmp_path, "jpg")

    def one(k):
        target = tmp_path / f"t{k}.jpg"
        tag_file(path, target, PictureFacts(roll=f"26-{k:03d}", frame=str(k)))
        return read_tags(target)["Xmp.dryside.roll"]

    with ThreadPoolExecutor(4) as pool:
        assert list(pool.map(one, range(20))) == [f"26-{k:03d}" for k in range(20)]


def test_tagging_again_changes_nothing(tmp_path):
    once, again = tmp_path / "once.jpg", tmp_path / "again.jpg"
    tag_file(made(tmp_path, "jpg"), once, FACTS)
    tag_file(once, again, FACTS)
    first, second = (
        {name: value for name, value in exiftool(path).items() if name.split(":")[0] not in ("System", "SourceFile")}
        for path in (once, again)
    )
    assert first == second
