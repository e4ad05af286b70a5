"""QR codes for paper, as SVG that prints sharp at any size."""

from __future__ import annotations

import io


def qr_svg(text: str) -> bytes:
    """A QR code (ISO/IEC 18004) of `text`, black on nothing, with its quiet zone of four modules.

    Error correction is at least M (15 %), more where the code grows no larger by it: labels are handled and rubbed.

    Parameters
    ----------
    text : str
        What a reader shall give back. A few dozen characters stay readable at 12 mm.

    Returns
    -------
    bytes
        SVG, sized in modules; the template scales it.
    """
    import segno

    out = io.BytesIO()
    segno.make(text, error="m", micro=False).save(out, kind="svg", border=4, xmldecl=False, svgns=True, nl=False)
    return out.getvalue()
