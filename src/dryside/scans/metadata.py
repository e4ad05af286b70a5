"""Facts of a picture as Exif, IPTC and XMP properties: plain mappings that `tag_file` writes.

Exif 2.32 tags (numbers in the comments of `exif_properties`), the IPTC Photo Metadata Standard's XMP properties and
their IIM twins, and a namespace of our own for what no standard has: roll, frame and strip.
"""

from __future__ import annotations

from fractions import Fraction

from dryside.scans.facts import PictureFacts, exif_instant
from dryside.scans.xmp_packet import ALT, BAG, SEQ, TEXT, Property

DIGITAL_SOURCE = "http://cv.iptc.org/newscodes/digitalsourcetype/"
LARGEST_SHORT = 65535  # PhotographicSensitivity is a SHORT; its standard value for 'that or more'
# Widths of IIM datasets in bytes (IPTC-NAA IIM 4.2, from memory); the XMP twin always has the whole text.
_IIM_BYTES = {"Byline": 32, "Keywords": 64, "Caption": 2000, "SubLocation": 32, "Copyright": 128, "ObjectName": 64}

Properties = dict[str, str | list[str]]


def shutter_fraction(shutter: str | None) -> Fraction | None:
    """Seconds of a marked shutter speed: `1/250`, `0.5`, `2`, `2s`; None for bulb and what is no number."""
    if not shutter:
        return None
    text = shutter.strip().lower().rstrip('s"').strip()
    try:
        seconds = Fraction(text.replace(",", "."))
    except (ValueError, ZeroDivisionError):
        return None
    return seconds if seconds > 0 else None


def exif_properties(facts: PictureFacts) -> Properties:
    """Exif properties by exiv2's key names; only what is known."""
    found: Properties = {}
    instant = exif_instant(facts.taken_at)
    if instant is not None:
        found["Exif.Photo.DateTimeOriginal"] = instant.date_time  # 0x9003
        if instant.offset:
            found["Exif.Photo.OffsetTimeOriginal"] = instant.offset  # 0x9011
    seconds = shutter_fraction(facts.shutter)
    if seconds is not None:
        found["Exif.Photo.ExposureTime"] = _ratio(seconds)  # 0x829A
    if facts.aperture:
        found["Exif.Photo.FNumber"] = _ratio(facts.aperture)  # 0x829D
    if facts.exposure_index:
        # 0x8827 with 0x8830 = 0, 'unknown': the other types are those of ISO 12232, for digital cameras only.
        found["Exif.Photo.ISOSpeedRatings"] = str(min(facts.exposure_index, LARGEST_SHORT))
        found["Exif.Photo.SensitivityType"] = "0"
    if facts.focal_mm:
        found["Exif.Photo.FocalLength"] = _ratio(facts.focal_mm)  # 0x920A
    texts = {
        "Exif.Image.Make": facts.maker,  # 0x010F
        "Exif.Image.Model": facts.model,  # 0x0110
        "Exif.Photo.LensModel": facts.lens,  # 0xA434
        "Exif.Image.ImageDescription": facts.caption,  # 0x010E
        "Exif.Image.Artist": facts.creator,  # 0x013B
        "Exif.Image.Copyright": facts.rights,  # 0x8298
    }
    found |= {key: text for key, text in texts.items() if text}
    found["Exif.Photo.FileSource"] = "1" if facts.digitised_by == "scanner" else "3"  # 0xA300
    return found | _gps(facts)


def _ratio(value: float | Fraction) -> str:
    fraction = Fraction(value).limit_denominator(100_000)
    return f"{fraction.numerator}/{fraction.denominator}"


def _gps(facts: PictureFacts) -> Properties:
    if facts.latitude is None or facts.longitude is None:
        return {}
    found: Properties = {
        "Exif.GPSInfo.GPSVersionID": "2 3 0 0",
        "Exif.GPSInfo.GPSLatitudeRef": "N" if facts.latitude >= 0 else "S",
        "Exif.GPSInfo.GPSLatitude": _degrees(facts.latitude),
        "Exif.GPSInfo.GPSLongitudeRef": "E" if facts.longitude >= 0 else "W",
        "Exif.GPSInfo.GPSLongitude": _degrees(facts.longitude),
        "Exif.GPSInfo.GPSMapDatum": "WGS-84",
    }
    if facts.altitude_m is not None:
        found["Exif.GPSInfo.GPSAltitudeRef"] = "0" if facts.altitude_m >= 0 else "1"
        found["Exif.GPSInfo.GPSAltitude"] = _ratio(round(abs(facts.altitude_m), 2))
    return found


def _degrees(angle: float) -> str:
    """Degrees, minutes and ten-thousandths of seconds (3 mm on the ground) as three ratios."""
    whole = round(abs(angle) * 3600 * 10_000)
    degrees, rest = divmod(whole, 3600 * 10_000)
    minutes, seconds = divmod(rest, 60 * 10_000)
    return f"{degrees}/1 {minutes}/1 {seconds}/10000"


def xmp_properties(facts: PictureFacts, *, alone: bool) -> list[Property]:
    """XMP properties, only what is known.

    Parameters
    ----------
    facts : PictureFacts
        What is known.
    alone : bool
        True for a sidecar, which must carry the Exif facts too; False beside Exif in the same file.
    """
    camera = " ".join(word for word in (facts.maker, facts.model) if word)
    source = DIGITAL_SOURCE + facts.source_type if facts.source_type else None
    found = [
        _one("dryside:roll", facts.roll),
        _one("dryside:frame", facts.frame),
        _one("dryside:strip", facts.strip),
        _one("dryside:stock", facts.stock),
        _one("dryside:process", facts.process),
        _one("dryside:lab", facts.lab),
        _one("dryside:camera", camera),  # Exif's Make and Model may mean the scanner
        _one("dc:creator", facts.creator, kind=SEQ),
        _one("dc:description", facts.caption, kind=ALT),
        _one("dc:title", facts.title, kind=ALT),
        _one("dc:rights", facts.rights, kind=ALT),
        Property("dc:subject", BAG, facts.keywords) if facts.keywords else None,
        _one("Iptc4xmpCore:Location", facts.place),
        _one("photoshop:DateCreated", _xmp_date(facts.taken_at)),
        _one("Iptc4xmpExt:DigitalSourceType", source),
    ]
    if alone:
        found += _exif_in_xmp(facts)
    return [one for one in found if one is not None]


def _one(name: str, text: str | None, *, kind: str = TEXT) -> Property | None:
    return Property(name, kind, (text,)) if text else None


def _xmp_date(taken_at: str | None) -> str | None:
    """XMP dates may stop at the year, the month, the day or the minute (ISO 8601, XMP Part 1)."""
    return None if not taken_at else taken_at.strip().replace(" ", "T")


def _exif_in_xmp(facts: PictureFacts) -> list[Property | None]:
    exif = exif_properties(facts)
    same = {
        "Exif.Photo.ExposureTime": "exif:ExposureTime",
        "Exif.Photo.FNumber": "exif:FNumber",
        "Exif.Photo.FocalLength": "exif:FocalLength",
        "Exif.Photo.FileSource": "exif:FileSource",
        "Exif.Image.Make": "tiff:Make",
        "Exif.Image.Model": "tiff:Model",
        "Exif.Photo.LensModel": "exifEX:LensModel",
        "Exif.GPSInfo.GPSAltitude": "exif:GPSAltitude",
        "Exif.GPSInfo.GPSAltitudeRef": "exif:GPSAltitudeRef",
    }
    found: list[Property | None] = [_one(there, str(exif[here])) for here, there in same.items() if here in exif]
    if exif_instant(facts.taken_at) is not None:
        found.append(_one("exif:DateTimeOriginal", _xmp_date(facts.taken_at)))
    if facts.exposure_index:
        found.append(_one("exifEX:PhotographicSensitivity", str(min(facts.exposure_index, LARGEST_SHORT))))
    if facts.latitude is not None and facts.longitude is not None:
        found.append(_one("exif:GPSLatitude", _xmp_angle(facts.latitude, "NS")))
        found.append(_one("exif:GPSLongitude", _xmp_angle(facts.longitude, "EW")))
    return found


def _xmp_angle(angle: float, signs: str) -> str:
    """`DDD,MM.mmmmmmk` of the XMP specification, part 2."""
    degrees, minutes = divmod(round(abs(angle) * 60, 6), 60)
    return f"{degrees:.0f},{minutes:.6f}{signs[0] if angle >= 0 else signs[1]}"


def iptc_properties(facts: PictureFacts) -> Properties:
    """IIM datasets for programs that read no XMP; long texts are cut at the dataset's width."""
    found: Properties = {}
    texts = {"Byline": facts.creator, "Caption": facts.caption, "SubLocation": facts.place, "Copyright": facts.rights,
             "ObjectName": facts.title}  # fmt: skip
    found |= {f"Iptc.Application2.{key}": _cut(text, _IIM_BYTES[key]) for key, text in texts.items() if text}
    if facts.keywords:
        found["Iptc.Application2.Keywords"] = [_cut(word, _IIM_BYTES["Keywords"]) for word in facts.keywords]
    instant = exif_instant(facts.taken_at)
    if instant is not None:
        day, time = instant.date_time.split(" ")
        found["Iptc.Application2.DateCreated"] = day.replace(":", "-")
        if instant.offset:  # IIM has no time without an offset
            found["Iptc.Application2.TimeCreated"] = time + instant.offset
    if found:
        found["Iptc.Envelope.CharacterSet"] = "\x1b%G"  # UTF-8 (ISO 2022)
    return found


def _cut(text: str, width: int) -> str:
    return text.encode("utf-8")[:width].decode("utf-8", "ignore")
