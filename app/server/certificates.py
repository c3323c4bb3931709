"""A certificate for the shop computer, and the authority of its own that signs it, kept as files in one folder.

The authority is what a tablet trusts, so it is made once and stored. The names and addresses it may certify are written
into it: private addresses and this computer's own names. A stolen key could not certify anything else. The server's
certificate is renewed before it expires and whenever the computer's addresses change.
"""

import os
import re
import tempfile
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from ipaddress import IPv4Address, IPv6Address, ip_address, ip_network
from pathlib import Path

from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from app.wording.message import say
from app.wording.program.cli import AUTHORITY_NAME

AUTHORITY_LASTS = timedelta(days=3652)
"""Ten years: as long as tablets last. It ends the need to trust it again, so it is this program's choice."""

SERVER_LASTS = timedelta(days=397)
"""Apple takes no server certificate that is good for more than 825 days (support.apple.com/en-us/103769); browsers
held public ones to 398 until 2026, and this stays under both."""

RENEWED_BEFORE = timedelta(days=60)
"""How long before its end the server's certificate is made anew."""

SET_BACK = timedelta(days=1)
"""How far a new certificate reaches into the past, for a tablet whose clock is behind."""

PRIVATE = tuple(
    map(
        ip_network,
        (
            "10.0.0.0/8",
            "172.16.0.0/12",
            "192.168.0.0/16",
            "127.0.0.0/8",
            "169.254.0.0/16",
            "::1/128",
            "fc00::/7",
            "fe80::/10",
        ),
    )
)
"""The addresses that belong to no one on the internet (RFC 1918, 1122, 3927, 4291, 4193)."""

LABEL = re.compile(r"[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?")

Address = IPv4Address | IPv6Address


class CertificateProblem(StrEnum):
    """Why there can be no certificate."""

    NOT_SAVED = "not-saved"
    UNREADABLE = "unreadable"


class CertificateError(Exception):
    """There can be no certificate: ``place`` is the file or folder at fault, ``why`` what the system reports."""

    def __init__(self, problem: CertificateProblem, place: Path, why: str = "") -> None:
        super().__init__(f"{problem} {place} {why}".rstrip())
        self.problem = problem
        self.place = place
        self.why = why


@dataclass(frozen=True)
class Certificate:
    """What the server shows, and what a tablet has to trust.

    ``file`` holds the server's key and certificate as PEM; ``authority`` is the authority's certificate as DER;
    ``left_out`` are the names and addresses that the authority may not vouch for; ``ends`` is the server's, in UTC.
    """

    file: Path
    authority: bytes
    ends: datetime
    left_out: tuple[str, ...]

    @property
    def fingerprint(self) -> str:
        """SHA-256 of the authority's certificate, as tablets show it: pairs of hexadecimal digits."""
        return x509.load_der_x509_certificate(self.authority).fingerprint(hashes.SHA256()).hex(" ").upper()


@dataclass(frozen=True)
class Pair:
    """A certificate and the key that belongs to it."""

    certificate: x509.Certificate
    key: ec.EllipticCurvePrivateKey


def ready(folder: Path, names: Collection[str], addresses: Collection[str], now: datetime) -> Certificate:
    """The certificate for ``names`` and ``addresses``, made or made anew where it has to be.

    Parameters: ``folder``, made when it is not there, for its owner alone; ``now`` in UTC. Raises CertificateError.
    """
    asked = {name.lower() for name in names if _is_name(name)}
    numbers = {ip_address(address) for address in addresses}
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        authority = _kept(folder / "authority.pem")
        if authority is None or authority.certificate.not_valid_after_utc - now < SERVER_LASTS:
            authority = _new_authority(asked, now)
            _keep(folder / "authority.pem", authority)
        may_names = {name for name in asked if _vouches_for_name(authority.certificate, name)}
        may_numbers = {number for number in numbers if any(number in block for block in PRIVATE)}
        server = _kept(folder / "server.pem")
        if server is None or not _still_serves(server.certificate, authority.certificate, may_names, may_numbers, now):
            server = _new_server(authority, may_names, may_numbers, now)
            _keep(folder / "server.pem", server)
    except OSError as error:
        why = error.strerror or str(error)
        raise CertificateError(CertificateProblem.NOT_SAVED, folder, why) from error
    return Certificate(
        file=folder / "server.pem",
        authority=authority.certificate.public_bytes(serialization.Encoding.DER),
        ends=server.certificate.not_valid_after_utc,
        left_out=tuple(sorted([*(asked - may_names), *map(str, numbers - may_numbers)])),
    )


def _is_name(name: str) -> bool:
    """Whether a certificate can hold it as a DNS name (RFC 1034, 3.5)."""
    return len(name) <= 253 and all(LABEL.fullmatch(label) for label in name.lower().split("."))


def _vouches_for_name(authority: x509.Certificate, name: str) -> bool:
    """Whether a name is one of those written into the authority, or stands under one (RFC 5280, 4.2.1.10)."""
    permitted = authority.extensions.get_extension_for_class(x509.NameConstraints).value.permitted_subtrees or []
    given = [one.value for one in permitted if isinstance(one, x509.DNSName)]
    return any(name == one or name.endswith(f".{one}") for one in given)


def _still_serves(
    server: x509.Certificate,
    authority: x509.Certificate,
    names: set[str],
    numbers: set[Address],
    now: datetime,
) -> bool:
    """Whether the server's certificate is this authority's, says exactly that much, and is far from its end."""
    says = server.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    try:
        server.verify_directly_issued_by(authority)
    except (ValueError, TypeError, InvalidSignature):
        return False
    return (
        set(says.get_values_for_type(x509.DNSName)) == names
        and set(says.get_values_for_type(x509.IPAddress)) == numbers
        and server.not_valid_before_utc <= now <= server.not_valid_after_utc - RENEWED_BEFORE
    )


def _new_authority(names: set[str], now: datetime) -> Pair:
    """An authority that signs no other authority, for ``names``, what ends in .local, and private addresses."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = _name(say(AUTHORITY_NAME))
    permitted = [*map(x509.DNSName, sorted(names | {"localhost", "local"})), *map(x509.IPAddress, PRIVATE)]
    certificate = (
        _begun(name, name, key.public_key(), now, AUTHORITY_LASTS)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(signs_certificates=True), critical=True)
        .add_extension(x509.NameConstraints(permitted_subtrees=permitted, excluded_subtrees=None), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256())
    )
    return Pair(certificate, key)


def _new_server(authority: Pair, names: set[str], numbers: set[Address], now: datetime) -> Pair:
    """A server's certificate, signed by ``authority``."""
    key = ec.generate_private_key(ec.SECP256R1())
    says = [*map(x509.DNSName, sorted(names)), *map(x509.IPAddress, sorted(numbers, key=lambda n: (n.version, int(n))))]
    issuer = authority.certificate.subject
    signer = authority.key.public_key()
    certificate = (
        _begun(_name("Evenbore"), issuer, key.public_key(), now, SERVER_LASTS - SET_BACK)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(signs_certificates=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectAlternativeName(says), critical=False)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(signer), critical=False)
        .sign(authority.key, hashes.SHA256())
    )
    return Pair(certificate, key)


def _name(common: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, common)])


def _begun(
    subject: x509.Name, issuer: x509.Name, key: ec.EllipticCurvePublicKey, now: datetime, lasts: timedelta
) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key)
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - SET_BACK)
        .not_valid_after(now + lasts)
    )


def _usage(*, signs_certificates: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not signs_certificates,
        key_cert_sign=signs_certificates,
        crl_sign=signs_certificates,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        encipher_only=False,
        decipher_only=False,
    )


def _kept(file: Path) -> Pair | None:
    """The key and certificate in a file, None when there is no file. Raises CertificateError and OSError."""
    try:
        pem = file.read_bytes()
    except FileNotFoundError:
        return None
    try:
        key = serialization.load_pem_private_key(pem, password=None)
        certificate = x509.load_pem_x509_certificate(pem)
        if not isinstance(key, ec.EllipticCurvePrivateKey) or key.public_key() != certificate.public_key():
            raise ValueError("the key does not belong to the certificate")
    except (ValueError, TypeError) as error:
        raise CertificateError(CertificateProblem.UNREADABLE, file, str(error)) from error
    return Pair(certificate, key)


def _keep(file: Path, pair: Pair) -> None:
    """Put a key and its certificate into a file that its owner alone may read, all of it or nothing."""
    pem = pair.key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    ) + pair.certificate.public_bytes(serialization.Encoding.PEM)
    handle, beside = tempfile.mkstemp(dir=file.parent, prefix=f".{file.name}-")  # made with mode 0600
    try:
        with os.fdopen(handle, "wb") as out:
            out.write(pem)
            out.flush()
            os.fsync(out.fileno())
        Path(beside).replace(file)
    except OSError:
        Path(beside).unlink(missing_ok=True)
        raise
