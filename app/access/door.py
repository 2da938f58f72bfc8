"""The door on this computer: who asks over the loopback address must have been let in, by the key of the book.

Whoever has an account on a computer reaches its loopback ports, so an address there is no proof of anything. A key of
256 bits lies in a file beside the book that only the person's own account can read, and is in no copy and no export.
What opens the door follows from it:

- a **cookie**, the same in every browser that was let in, for a year; a new key ends them all at once.
- a **one-time address**, which gives a browser the cookie: good for ten minutes, once, and for one run of the program.
  Whoever can read the key can make one: the program at its start, a second start, `grainbook address`. Other accounts
  can see what a browser was started with; so on Linux the connection must also come from the same account.
- a **token** for a script, for the compute API alone, which neither reads nor writes the book. Of a token the digest is
  kept, in a file of its own beside the key.

What it does not do: cookies know no ports. A browser sends this one also to a program of another account that answers
at another port of this computer, if the person opens that program's address in the same browser.
"""

import hashlib
import hmac
import json
import re
import secrets
from dataclasses import asdict, dataclass
from datetime import timedelta
from pathlib import Path
from threading import Lock

from starlette.requests import Request

from app import clock, system

COOKIE_HOLDS = timedelta(days=365)
TICKET_HOLDS = timedelta(minutes=10)
ENTER = "/enter"
TOKEN = "grainbook-"  # noqa: S105 - what a token begins with, so that it is known where it turns up

_KEY_DIGITS = 64
_TICKET = re.compile(r"([0-9a-f]{16})([0-9a-f]{10})([0-9a-f]{64})", re.ASCII)


# --- The key -------------------------------------------------------------------------------------


def key_of(book: Path) -> Path:
    """The file of a book's key: beside it."""
    return book.with_name(f"{book.name}.key")


def read_key(book: Path) -> bytes | None:
    """The key of a book; nothing where there is none, or no whole one."""
    try:
        text = key_of(book).read_text(encoding="ascii").strip()
    except (OSError, UnicodeDecodeError):
        return None
    return bytes.fromhex(text) if re.fullmatch(f"[0-9a-f]{{{_KEY_DIGITS}}}", text) else None


def new_key(book: Path) -> bytes:
    """Make a key in place of the one before, which opens nothing from now on."""
    key = secrets.token_bytes(_KEY_DIGITS // 2)
    system.write_private(key_of(book), key.hex())
    return key


def the_key(book: Path) -> bytes:
    """The key of a book; made where there is none, and anew where other accounts could read it."""
    known = system.close_to_others(key_of(book))
    return (None if known else read_key(book)) or new_key(book)


def one_time(site: str, key: bytes, run: str) -> str:
    """A one-time address at a site such as `http://127.0.0.1:8765/`, for the run of that name."""
    begun = secrets.token_hex(8) + f"{_seconds() + int(TICKET_HOLDS.total_seconds()):010x}"
    return f"{site.rstrip('/')}{ENTER}/{begun}{_sealed(key, 'ticket', run, begun)}"


def _seconds() -> int:
    return int(clock.now().timestamp())


def _sealed(key: bytes, *words: str) -> str:
    return hmac.new(key, "\n".join(words).encode(), hashlib.sha256).hexdigest()


def same_account(request: Request) -> bool:
    """Whether a request may be of the person's own account: not where the system knows that it is another's."""
    return request.client is None or not system.of_another_account(request.client.host, request.client.port)


class Door:
    """The door of an open book: knows its key, and which tickets were used."""

    def __init__(self, book: Path) -> None:
        self.book = book
        self.run = secrets.token_hex(8)
        """The name of this run of the program: a ticket of another run is void."""
        place = hashlib.sha256(str(book.resolve()).encode("utf-8", "surrogateescape")).hexdigest()
        self.cookie_name = f"grainbook_{place[:12]}"
        """Of this book alone: books that are open at two ports share a browser's cookies."""
        self._key = the_key(book)
        self._used: dict[str, int] = {}
        self._lock = Lock()

    def cookie(self) -> str:
        """What a browser keeps that was let in: it follows from the key, and the key does not follow from it."""
        return _sealed(self._key, "cookie")

    def knows(self, cookie: str) -> bool:
        """Whether a browser was let in."""
        return hmac.compare_digest(self.cookie().encode(), cookie.encode("utf-8", "replace"))

    def address(self, site: str = "/") -> str:
        """A fresh one-time address at a site such as `http://127.0.0.1:8765/`."""
        return one_time(site, self._key, self.run)

    def enter(self, text: str) -> bool:
        """Whether a ticket opens the door; it does so once."""
        match = _TICKET.fullmatch(text)
        if match is None:
            return False
        begun, until, now = match[1] + match[2], int(match[2], 16), _seconds()
        if not hmac.compare_digest(_sealed(self._key, "ticket", self.run, begun), match[3]):
            return False
        if (
            not now <= until <= now + TICKET_HOLDS.total_seconds() + 1
        ):  # one of later was made before the clock went back
            return False
        with self._lock:
            self._used = {one: end for one, end in self._used.items() if end >= now - TICKET_HOLDS.total_seconds()}
            if begun in self._used:
                return False
            self._used[begun] = until
            return True

    def change_key(self) -> None:
        """Let nobody in any more who was let in until now."""
        self._key = new_key(self.book)

    def allows(self, token: str) -> bool:
        """Whether a script's token holds."""
        return token.startswith(TOKEN) and any(
            hmac.compare_digest(_digest(token), one.digest) for one in tokens(self.book)
        )


# --- Tokens of scripts ---------------------------------------------------------------------------


@dataclass(frozen=True)
class Token:
    """A token that was given to a script: its number, when it was made, and the digest of it."""

    number: int
    made: str
    digest: str


def tokens_of(book: Path) -> Path:
    """The file that tells which tokens hold: beside the book."""
    return book.with_name(f"{book.name}.tokens")


def tokens(book: Path) -> list[Token]:
    """The tokens that hold; none where the file cannot be read."""
    try:
        return [Token(**one) for one in json.loads(tokens_of(book).read_text(encoding="utf-8"))]
    except (OSError, ValueError, TypeError):
        return []


def new_token(book: Path) -> tuple[Token, str]:
    """Make a token; the token itself is kept nowhere."""
    secret = TOKEN + secrets.token_hex(32)
    held = tokens(book)
    made = Token(max((one.number for one in held), default=0) + 1, clock.now().isoformat(), _digest(secret))
    _keep(book, [*held, made])
    return made, secret


def withdraw(book: Path, number: int) -> bool:
    """Withdraw a token; false where there is none of that number."""
    held = tokens(book)
    stay = [one for one in held if one.number != number]
    if len(stay) == len(held):
        return False
    _keep(book, stay)
    return True


def _keep(book: Path, held: list[Token]) -> None:
    system.write_private(tokens_of(book), json.dumps([asdict(one) for one in held], indent=1))


def _digest(token: str) -> str:
    return hashlib.sha256(token.encode("utf-8", "replace")).hexdigest()
