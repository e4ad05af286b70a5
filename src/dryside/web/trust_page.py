"""How a phone comes to trust the book's own certificate, and the way in for it: address and QR."""

from __future__ import annotations

import io

from fastapi import APIRouter, Request, Response
from markupsafe import Markup

from dryside.film.refusal import NotFound
from dryside.web.certificate import as_der, fingerprint
from dryside.web.pages import page, site_of

router = APIRouter()


@router.get("/trust")
def trust_page(request: Request) -> Response:
    """The certificate to load, its fingerprint to compare, and the steps; reached before logging in."""
    site = site_of(request)
    certificate = site.certificate
    return page(
        request, "trust.html", title="Trust this book",
        print_of_it=fingerprint(certificate) if certificate else None,
        address=site.address, drawn=qr_drawing(site.address) if site.address else None,
    )  # fmt: skip


@router.get("/trust/certificate.crt")
def certificate(request: Request) -> Response:
    """The certificate as phones take it in."""
    path = site_of(request).certificate
    if path is None:
        raise NotFound("certificate", "this server speaks to this machine only", "Start it with: dryside serve --lan.")
    headers = {"content-disposition": 'attachment; filename="dryside.crt"'}
    return Response(as_der(path), media_type="application/x-x509-ca-cert", headers=headers)


def qr_drawing(address: str) -> Markup:
    """The address as a QR in SVG, without styles of its own."""
    import segno

    out = io.BytesIO()
    segno.make(address, error="m").save(out, kind="svg", xmldecl=False, svgns=False, svgclass="qr", lineclass=None,
                                        omitsize=True, border=2, dark="#000", light="#fff")  # fmt: skip
    return Markup(out.getvalue().decode())  # noqa: S704 - drawn by segno from our own address
