"""The book's own authority for certificates: what lets a tablet talk to this computer so that nobody else can read it.

An authority is made at the first `--lan` and stays: a key on the curve P-256 (FIPS 186-5), kept in a folder beside the
book that only the person's account can read, and a certificate (RFC 5280) that a tablet may be told to trust. What it
can sign is held to a small circle, so that trusting it is no risk to the rest of the internet: no authority below it
(`pathlen:0`), this computer's own names, names that end in `.local`, and addresses that are nobody's on the internet
(IANA's special-purpose registries). Its certificate at the door is short-lived, of this computer's names and addresses
of the day, and made anew at the start when they have changed or it is about to end.

`cryptography` is loaded inside the functions: a start without `--lan` does not need it.
"""

import datetime
import hashlib
import ipaddress
import ssl
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from app import clock, system

if TYPE_CHECKING:
    from cryptography import x509
    from cryptography.hazmat.primitives.asymmetric.ec import EllipticCurvePrivateKey

NETWORKS = (
    *("10.0.0.0/8", "100.64.0.0/10", "127.0.0.0/8", "169.254.0.0/16", "172.16.0.0/12", "192.0.2.0/24"),
    *("192.168.0.0/16", "198.18.0.0/15", "198.51.100.0/24", "203.0.113.0/24", "::1/128", "fc00::/7", "fe80::/10"),
)
"""Addresses that the authority may vouch for: of private networks, of one cable or machine, of examples."""

BEGINS = datetime.datetime(2020, 1, 1, tzinfo=datetime.UTC)
"""Since when the authority holds: long ago, so that a clock that stood wrong when it was made does no harm."""

AUTHORITY_HOLDS = datetime.timedelta(days=365 * 20)
BACK, AHEAD, RENEWED_BEFORE = (datetime.timedelta(days=days) for days in (7, 390, 60))
"""A leaf holds from a week ago, for a tablet whose clock is behind, to a year and a bit ahead: 397 days in all, for
browsers refuse more than 398 or so. One that ends within 60 days is made anew at the next start."""


@dataclass(frozen=True)
class Fingerprint:
    """SHA-256 of the authority's certificate, as browsers and systems show it."""

    whole: str
    """All 32 bytes in groups of two: `3F2A 91C0 …`."""

    short: str
    """The first two and the last two groups, for a quick look: 64 bits."""


@dataclass(frozen=True)
class Authority:
    """The authority of a book, and the certificate that this computer shows at its door."""

    folder: Path

    @property
    def certificate(self) -> Path:
        """The authority's certificate, which anybody may have (PEM)."""
        return self.folder / "authority.pem"

    @property
    def key(self) -> Path:
        """The authority's key (PEM)."""
        return self.folder / "authority-key.pem"

    @property
    def leaf(self) -> Path:
        """This computer's certificate and its key in one file (PEM)."""
        return self.folder / "this-computer.pem"

    def der(self) -> bytes:
        """The authority's certificate as systems take it in (DER)."""
        return ssl.PEM_cert_to_DER_cert(self.certificate.read_text(encoding="ascii"))

    def fingerprint(self) -> Fingerprint:
        """What a person compares."""
        digits = hashlib.sha256(self.der()).hexdigest().upper()
        groups = [digits[i : i + 4] for i in range(0, len(digits), 4)]
        return Fingerprint(" ".join(groups), " ".join([*groups[:2], "…", *groups[-2:]]))

    def context(self) -> ssl.SSLContext:
        """TLS as this computer offers it: 1.2 or newer, by the leaf."""
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.minimum_version = ssl.TLSVersion.TLSv1_2
        context.load_cert_chain(self.leaf)
        return context


def folder_of(book: Path) -> Path:
    """Where a book's authority is: a folder beside it."""
    return book.with_name(f"{book.stem}-tls")


def of_book(book: Path, names: Iterable[str], addresses: Iterable[str]) -> Authority:
    """The authority of a book, with a leaf that holds now for these names and addresses; what is missing is made.

    Raises
    ------
    OSError
        The folder cannot be written.
    """
    from cryptography import x509

    found = Authority(folder_of(book))
    found.folder.mkdir(parents=True, exist_ok=True)
    system.close_to_others(found.folder)
    if not _whole(found):
        _make_authority(found, names)
    authority = x509.load_pem_x509_certificate(found.certificate.read_bytes())
    wanted = _subjects(authority, names, addresses)
    if not _holds(found, authority, wanted):
        _make_leaf(found, authority, wanted)
    return found


def _whole(found: Authority) -> bool:
    """Whether key and certificate are there, belong together, hold, and were for this account alone."""
    from cryptography import x509

    try:
        known = system.close_to_others(found.key)
        certificate = x509.load_pem_x509_certificate(found.certificate.read_bytes())
        return not known and certificate.not_valid_after_utc > clock.now() + AHEAD and _fits(found, certificate)
    except (OSError, ValueError):
        return False


def _fits(found: Authority, certificate: "x509.Certificate") -> bool:
    return _key_in(found.key).public_key() == certificate.public_key()


def _key_in(file: Path) -> "EllipticCurvePrivateKey":
    from cryptography.hazmat.primitives.asymmetric.ec import EllipticCurvePrivateKey
    from cryptography.hazmat.primitives.serialization import load_pem_private_key

    key = load_pem_private_key(file.read_bytes(), None)
    if not isinstance(key, EllipticCurvePrivateKey):
        raise ValueError("a key of another kind")
    return key


def _subjects(
    authority: "x509.Certificate", names: Iterable[str], addresses: Iterable[str]
) -> "list[x509.GeneralName]":
    """The names and addresses that the authority may vouch for, this computer's own for itself among them."""
    from cryptography import x509

    circle = authority.extensions.get_extension_for_class(x509.NameConstraints).value.permitted_subtrees or []
    domains = [one.value for one in circle if isinstance(one, x509.DNSName)]
    networks = [ipaddress.ip_network(str(one.value)) for one in circle if isinstance(one, x509.IPAddress)]
    found: list[x509.GeneralName] = []
    for name in sorted({"localhost", *names}):
        if any(name == domain or name.endswith(f".{domain}") for domain in domains):
            found.append(x509.DNSName(name))
    for address in sorted({"127.0.0.1", *addresses}):
        number = ipaddress.ip_address(address)
        if any(number in network for network in networks):
            found.append(x509.IPAddress(number))
    return found


def _holds(found: Authority, authority: "x509.Certificate", wanted: "list[x509.GeneralName]") -> bool:
    from cryptography import x509
    from cryptography.exceptions import InvalidSignature

    try:
        leaf = x509.load_pem_x509_certificate(found.leaf.read_bytes())
        leaf.verify_directly_issued_by(authority)
        if _key_in(found.leaf).public_key() != leaf.public_key():
            return False
        told = list(leaf.extensions.get_extension_for_class(x509.SubjectAlternativeName).value)
    except (OSError, ValueError, TypeError, InvalidSignature, x509.ExtensionNotFound):
        return False
    in_time = leaf.not_valid_before_utc <= clock.now() < leaf.not_valid_after_utc - RENEWED_BEFORE
    return in_time and told == wanted


def _make_authority(found: Authority, names: Iterable[str]) -> None:
    from cryptography import x509
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.x509.oid import ExtendedKeyUsageOID

    key = ec.generate_private_key(ec.SECP256R1())
    own = sorted({"localhost", "local", *names})
    place = min((name for name in names if "." not in name), default="this computer")
    circle: list[x509.GeneralName] = [x509.DNSName(name) for name in own]
    circle += [x509.IPAddress(ipaddress.ip_network(network)) for network in NETWORKS]
    name = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, f"Grainbook of {place}"[:64])])
    made = (
        _begun(name, name, key, key)
        .not_valid_before(BEGINS)
        .not_valid_after(max(clock.now(), BEGINS) + AUTHORITY_HOLDS)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(signs_certificates=True), critical=True)
        .add_extension(x509.NameConstraints(permitted_subtrees=circle, excluded_subtrees=None), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
    )
    certificate = _signed(made, key)
    found.leaf.unlink(missing_ok=True)
    system.write_private(found.key, _pem(key))
    system.write_private(found.certificate, certificate)


def _make_leaf(found: Authority, authority: "x509.Certificate", wanted: "list[x509.GeneralName]") -> None:
    from cryptography import x509
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.x509.oid import ExtendedKeyUsageOID

    key, signer = ec.generate_private_key(ec.SECP256R1()), _key_in(found.key)
    now = clock.now()
    name = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "This computer")])
    made = (
        _begun(name, authority.subject, key, signer)
        .not_valid_before(now - BACK)
        .not_valid_after(now + AHEAD)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(signs_certificates=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectAlternativeName(wanted), critical=False)
    )
    system.write_private(found.leaf, _pem(key) + _signed(made, signer))


def _begun(
    subject: "x509.Name", issuer: "x509.Name", key: "EllipticCurvePrivateKey", signer: "EllipticCurvePrivateKey"
) -> "x509.CertificateBuilder":
    """What every certificate says: whose it is, whose word it is, and by which keys."""
    from cryptography import x509

    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(signer.public_key()), critical=False)
    )


def _usage(*, signs_certificates: bool) -> "x509.KeyUsage":
    from cryptography import x509

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


def _signed(made: "x509.CertificateBuilder", signer: "EllipticCurvePrivateKey") -> str:
    from cryptography.hazmat.primitives.hashes import SHA256
    from cryptography.hazmat.primitives.serialization import Encoding

    return made.sign(signer, SHA256()).public_bytes(Encoding.PEM).decode("ascii")


def _pem(key: "EllipticCurvePrivateKey") -> str:
    from cryptography.hazmat.primitives import serialization

    coding, shape = serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8
    return key.private_bytes(coding, shape, serialization.NoEncryption()).decode("ascii")
