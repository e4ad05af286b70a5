"""A certificate of the book's own, so that phones in the household reach it over TLS."""

from __future__ import annotations

import ipaddress
import os
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

# Browsers and phones refuse server certificates that hold longer than 398 days (CA/Browser Forum, ballot SC-31; phone
# makers allow up to 825 for ones that a person trusts by hand).
HOLDS_DAYS = 397
RENEW_BEFORE_DAYS = 20


def certificate_for(folder: Path, names: Sequence[str]) -> tuple[Path, Path]:
    """The certificate and key files in `folder` for these names and addresses; made anew where the old one does not do.

    Parameters
    ----------
    folder : Path
        Made where it is not there; the key in it is readable by its owner only.
    names : sequence of str
        Host names and IP addresses.
    """
    certificate, key = folder / "certificate.pem", folder / "key.pem"
    if not (certificate.is_file() and key.is_file() and _does(certificate, names)):
        folder.mkdir(parents=True, exist_ok=True)
        content, secret = _make(names)
        _write(key, secret, 0o600)
        _write(certificate, content, 0o644)
    return certificate, key


def fingerprint(certificate: Path) -> str:
    """SHA-256 of the certificate as a browser shows it: pairs with colons."""
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes

    digest = x509.load_pem_x509_certificate(certificate.read_bytes()).fingerprint(hashes.SHA256())
    return ":".join(f"{byte:02X}" for byte in digest)


def as_der(certificate: Path) -> bytes:
    """The certificate as phones take it in."""
    from cryptography import x509
    from cryptography.hazmat.primitives.serialization import Encoding

    return x509.load_pem_x509_certificate(certificate.read_bytes()).public_bytes(Encoding.DER)


def _does(certificate: Path, names: Sequence[str]) -> bool:
    from cryptography import x509

    try:
        known = x509.load_pem_x509_certificate(certificate.read_bytes())
    except ValueError:
        return False
    listed: Any = known.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    has = {*listed.get_values_for_type(x509.DNSName), *map(str, listed.get_values_for_type(x509.IPAddress))}
    left = known.not_valid_after_utc - datetime.now(UTC)
    return set(names) <= has and left > timedelta(days=RENEW_BEFORE_DAYS)


def _make(names: Sequence[str]) -> tuple[bytes, bytes]:
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

    key = ec.generate_private_key(ec.SECP256R1())
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Dryside, a book of this household")])
    now = datetime.now(UTC)
    made = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(hours=1))
        .not_valid_after(now + timedelta(days=HOLDS_DAYS))
        .add_extension(x509.SubjectAlternativeName([_alternative(name) for name in dict.fromkeys(names)]), False)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .sign(key, hashes.SHA256())
    )
    secret = key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    return made.public_bytes(serialization.Encoding.PEM), secret


def _alternative(name: str) -> Any:
    from cryptography import x509

    try:
        return x509.IPAddress(ipaddress.ip_address(name))
    except ValueError:
        return x509.DNSName(name)


def _write(path: Path, content: bytes, mode: int) -> None:
    part = path.with_suffix(".part")
    handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, mode)
    with os.fdopen(handle, "wb") as stream:
        stream.write(content)
        os.fsync(handle)
    part.replace(path)
