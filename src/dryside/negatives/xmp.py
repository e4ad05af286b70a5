"""The XMP packet of a positive: when the film was captured, and the way the picture was made."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from typing import Any
from xml.sax.saxutils import escape

NAMESPACE = "https://dryside.invalid/ns/way/1/"
# IPTC NewsCodes, digital source type: http://cv.iptc.org/newscodes/digitalsourcetype/
SOURCE_TYPES = {
    "c41": "http://cv.iptc.org/newscodes/digitalsourcetype/negativeFilm",
    "ecn2": "http://cv.iptc.org/newscodes/digitalsourcetype/negativeFilm",
    "bw": "http://cv.iptc.org/newscodes/digitalsourcetype/negativeFilm",
    "e6": "http://cv.iptc.org/newscodes/digitalsourcetype/positiveFilm",
}


def xmp_packet(*, software: str, captured: str, process: str, way: Mapping[str, Any]) -> bytes:
    """A packet for a positive; the same arguments give the same bytes.

    Parameters
    ----------
    software : str
        Name and version of this program.
    captured : str
        When the film was captured, as Exif writes it ('2026:07:14 12:30:00') or ''.
    process : str
        Film process: 'c41', 'ecn2', 'bw', 'e6'.
    way : mapping
        Steps, arguments and checksums, kept as JSON in our own namespace.
    """
    digitized = f"\n   <exif:DateTimeDigitized>{_iso(captured)}</exif:DateTimeDigitized>" if _iso(captured) else ""
    steps = escape(json.dumps(way, sort_keys=True, ensure_ascii=False))
    packet = f"""<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>
<x:xmpmeta xmlns:x="adobe:ns:meta/">
 <rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
  <rdf:Description rdf:about="" xmlns:xmp="http://ns.adobe.com/xap/1.0/" xmlns:exif="http://ns.adobe.com/exif/1.0/"
   xmlns:iptcExt="http://iptc.org/std/Iptc4xmpExt/2008-02-29/" xmlns:dryside="{NAMESPACE}">
   <xmp:CreatorTool>{escape(software)}</xmp:CreatorTool>{digitized}
   <iptcExt:DigitalSourceType>{SOURCE_TYPES[process]}</iptcExt:DigitalSourceType>
   <dryside:way>{steps}</dryside:way>
  </rdf:Description>
 </rdf:RDF>
</x:xmpmeta>
<?xpacket end="w"?>"""
    return packet.encode()


def _iso(exif_time: str) -> str:
    """'2026-07-14T12:30:00' from Exif's form, '' from anything else."""
    match = re.fullmatch(r"(\d{4}):(\d\d):(\d\d) (\d\d:\d\d:\d\d)", exif_time.strip())
    return f"{match[1]}-{match[2]}-{match[3]}T{match[4]}" if match else ""
