"""An XMP packet as text: properties set in it, everything else that stands there kept.

RDF/XML as XMP Part 1 (ISO 16684-1) writes it: a property is an attribute or a child of rdf:Description, and its value
plain text, an ordered list (Seq), an unordered one (Bag) or text by language (Alt).
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from xml.etree import ElementTree as ET

TEXT, SEQ, BAG, ALT = "text", "Seq", "Bag", "Alt"
_RDF = "http://www.w3.org/1999/02/22-rdf-syntax-ns#"
_META = "adobe:ns:meta/"
_XML = "http://www.w3.org/XML/1998/namespace"
_BEGIN = '<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>\n'
_END = '\n<?xpacket end="w"?>\n'
_DECLARED = re.compile(r'xmlns:([A-Za-z_][\w.-]*)="([^"]+)"')
PREFIXES = {
    "x": _META,
    "rdf": _RDF,
    "dc": "http://purl.org/dc/elements/1.1/",
    "xmp": "http://ns.adobe.com/xap/1.0/",
    "photoshop": "http://ns.adobe.com/photoshop/1.0/",
    "Iptc4xmpCore": "http://iptc.org/std/Iptc4xmpCore/1.0/xmlns/",
    "Iptc4xmpExt": "http://iptc.org/std/Iptc4xmpExt/2008-02-29/",
    "exif": "http://ns.adobe.com/exif/1.0/",
    "exifEX": "http://cipa.jp/exif/1.0/",
    "tiff": "http://ns.adobe.com/tiff/1.0/",
    # A name, not a place: .invalid never resolves (RFC 2606).
    "dryside": "http://ns.dryside.invalid/film/1.0/",
}
OURS = PREFIXES["dryside"]


@dataclass(frozen=True)
class Property:
    """One XMP property: `dc:subject`, how its values stand (TEXT, SEQ, BAG or ALT), and the values."""

    name: str
    kind: str
    values: tuple[str, ...]

    @property
    def tag(self) -> str:
        """The name as ElementTree writes it."""
        prefix, local = self.name.split(":")
        return f"{{{PREFIXES[prefix]}}}{local}"


def set_properties(packet: str, properties: Sequence[Property], *, also_remove: Iterable[str] = ()) -> str:
    """A packet with `properties` in place of what it said of them; others stay.

    Parameters
    ----------
    packet : str
        An XMP packet, or '' for none. One that is no well-formed XML is dropped, as readers drop it.
    properties : sequence of Property
        What to set. Every property of our own namespace that is not among them is taken out.
    also_remove : iterable of str
        Names (`photoshop:DateCreated`) to take out whether or not they are set.
    """
    root = _parsed(packet)
    rdf = root if root.tag == f"{{{_RDF}}}RDF" else root.find(f".//{{{_RDF}}}RDF")
    if rdf is None:
        root = _empty()
        rdf = root[0]
    gone = {one.tag for one in properties} | {Property(name, TEXT, ()).tag for name in also_remove}
    for description in rdf.findall(f"{{{_RDF}}}Description"):
        for key in [k for k in description.attrib if k in gone or k.startswith(f"{{{OURS}}}")]:
            del description.attrib[key]
        for child in [c for c in description if c.tag in gone or c.tag.startswith(f"{{{OURS}}}")]:
            description.remove(child)
    target = ET.SubElement(rdf, f"{{{_RDF}}}Description", {f"{{{_RDF}}}about": ""})
    for one in properties:
        _append(target, one)
    for description in rdf.findall(f"{{{_RDF}}}Description"):
        if not len(description) and set(description.attrib) <= {f"{{{_RDF}}}about"}:
            rdf.remove(description)
    ET.indent(root, " ")
    return _BEGIN + ET.tostring(root, encoding="unicode") + _END


def _append(description: ET.Element, one: Property) -> None:
    element = ET.SubElement(description, one.tag)
    if one.kind == TEXT:
        element.text = _clean(one.values[0])
        return
    container = ET.SubElement(element, f"{{{_RDF}}}{one.kind}")
    for value in one.values:
        item = ET.SubElement(container, f"{{{_RDF}}}li")
        item.text = _clean(value)
        if one.kind == ALT:
            item.set(f"{{{_XML}}}lang", "x-default")


def _clean(text: str) -> str:
    """XML 1.0 has no control characters but tab and line ends; a note typed on a phone may."""
    return "".join(c for c in text if c in "\t\n\r" or ord(c) >= 0x20)


def _parsed(packet: str) -> ET.Element:
    for prefix, uri in (*_DECLARED.findall(packet), *PREFIXES.items()):
        if not re.fullmatch(r"ns\d+", prefix):  # reserved by ElementTree for itself
            ET.register_namespace(prefix, uri)
    try:
        return ET.fromstring(packet) if packet.strip() else _empty()  # noqa: S314  expat bounds entity expansion
    except ET.ParseError:
        return _empty()


def _empty() -> ET.Element:
    root = ET.Element(f"{{{_META}}}xmpmeta")
    ET.SubElement(root, f"{{{_RDF}}}RDF")
    return root
