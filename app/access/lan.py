"""The book open to the network at the person's own wish (`--lan`): its names and addresses there, and what is said."""

import argparse
import contextlib
import ipaddress
import socket
from collections.abc import Callable
from dataclasses import dataclass, field

from app import clock
from app.access import authority
from app.access.authority import Authority
from app.access.pairing import Desk
from app.settings import Settings

EVERYWHERE = "0.0.0.0"  # noqa: S104 - only with --lan, which warns
LOOPBACK_NAMES = frozenset({"localhost", "127.0.0.1", "::1"})


@dataclass
class Lan:
    """The names that this machine goes by, where the book is found, and the desk that pairs devices."""

    names: frozenset[str] = field(default_factory=lambda: own_names())
    addresses: list[str] = field(default_factory=list)
    """Such as `https://192.168.1.5:8765/`."""

    desk: Desk = field(default_factory=Desk)
    authority: Authority | None = None
    """Whose word this computer's certificate is; None where the network is answered without encryption."""

    @property
    def scheme(self) -> str:
        """How the network is answered."""
        return "https" if self.authority else "http"


def of_settings(settings: Settings) -> Lan:
    """The network that a run is open to, with the authority of its book where it is encrypted."""
    lan = Lan()
    if not settings.plain:
        lan.authority = authority.of_book(settings.book, lan.names, addresses_at(settings.lan or EVERYWHERE))
    return lan


def own_names() -> frozenset[str]:
    """The names that this machine goes by on its network; addresses are compared with the connection's own."""
    name = socket.gethostname().lower()
    short = name.partition(".")[0]
    return frozenset({name, short, f"{short}.local"} - LOOPBACK_NAMES - {"", ".local"})


def own_addresses() -> list[str]:
    """Addresses of this machine on its networks (IPv4), the likeliest first; nothing is sent to find them out."""
    found: list[str] = []
    with contextlib.suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.connect(("192.0.2.1", 9))  # only chooses a way out: no packet leaves
        found.append(probe.getsockname()[0])
    with contextlib.suppress(OSError):
        found += [str(known[4][0]) for known in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)]
    return [one for one in dict.fromkeys(found) if not address(one).is_loopback and not address(one).is_unspecified]


def address(text: str) -> ipaddress.IPv4Address | ipaddress.IPv6Address:
    """An address as it stands in a connection; one that cannot be read counts as nowhere, 0.0.0.0."""
    try:
        found = ipaddress.ip_address(text.partition("%")[0])
    except ValueError:
        return ipaddress.IPv4Address(0)
    return getattr(found, "ipv4_mapped", None) or found


def of_own_network(text: str) -> str:
    """The address that a person gives to `--lan`.

    Raises
    ------
    argparse.ArgumentTypeError
        It is none, or none of a network of one's own.
    """
    try:
        given = ipaddress.IPv4Address(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"“{text}” is no address such as 192.168.1.5") from None
    if given.is_loopback or given.is_multicast or given.is_global:
        raise argparse.ArgumentTypeError(f"{text} is no address on a network of your own")
    return str(given)


def listeners(here: socket.socket, at: str, listen: Callable[[str, int], socket.socket]) -> list[socket.socket]:
    """The listening sockets of a book that is open to the network: the loopback one, and one more at `at`.

    `here` listens on the loopback address; at all addresses one socket takes its place and its port.
    """
    port = here.getsockname()[1]
    if at == EVERYWHERE:
        here.close()
        return [listen(at, port)]
    try:
        return [here, listen(at, port)]
    except OSError:
        here.close()
        raise


def opened(lan: Lan, at: str, port: int) -> str:
    """What the terminal says when the book is open to the network; makes the first code."""
    lan.addresses = [f"{lan.scheme}://{one}:{port}/" for one in addresses_at(at)]
    code = lan.desk.new_code()
    where = " or ".join(lan.addresses) or f"{lan.scheme}://(the address of this computer on the network):{port}/"
    warning = (
        "OPEN TO YOUR NETWORK, NOT ENCRYPTED: whoever listens on the network can read along. Use it on your own "
        "network only."
    )
    if lan.authority is not None:
        warning = (
            "Open to your network, encrypted. The tablet warns until it trusts this book's own authority, whose "
            f"fingerprint is\n{lan.authority.fingerprint().whole}\nCompare it as the page Workshop, Devices says."
        )
    return (
        f"{warning}\nOn the tablet: {where}\nIts code: {code} (until {clock.local(code.until):%H:%M}, for one "
        "device; more on the page Workshop, Devices)."
    )


def addresses_at(at: str) -> list[str]:
    """The addresses of this machine that answer when it listens there."""
    return own_addresses() if at == EVERYWHERE else [at]
