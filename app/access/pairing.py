"""Codes that pair a tablet with the book while it is open to the network: short-lived, used once, hard to guess.

A code has eight digits and holds for ten minutes. Whoever guesses wrong waits, alone, 2 s, 4 s, 8 s and so on up to a
quarter of an hour; a guess that comes earlier is not looked at, right or wrong. Nobody else waits. After five wrong
guesses at one code its sender has no more guesses at it, and after a hundred, whoever made them, it is withdrawn.

So one sender has at best 5 chances in 100,000,000 for each code that is shown, 1 in 20,000,000; many senders, at least
twenty of them, have 100 together, 1 in 1,000,000, and then the code is gone and has to be made anew. A sender is an
address on the network; of the addresses of IPv6, which a device changes as it likes, the first 64 bits count (RFC 8981
has a device choose the other 64 by chance, and anew each day). Waits are forgotten an hour after the last wrong guess.
"""

import ipaddress
import secrets
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from threading import Lock

from app import clock

DIGITS = 8
HOLDS = timedelta(minutes=10)
GUESSES_EACH = 5
"""Wrong guesses at a code after which their sender has no more of them."""

GUESSES = 100
"""Wrong guesses after which a code is withdrawn, whoever made them."""

FIRST_WAIT_S, LONGEST_WAIT_S, FORGET_S = 2.0, 900.0, 3600.0
SENDERS = 1000
"""How many senders of wrong guesses are remembered: more than the guesses at any code."""


@dataclass
class _Misses:
    """Wrong guesses of one sender, and the wait that follows from them."""

    count: int = 0
    last: float = 0.0

    def add(self, now: float) -> None:
        self.count = 1 if now - self.last > FORGET_S else self.count + 1
        self.last = now

    def wait(self, now: float) -> float:
        if not self.count or now - self.last > FORGET_S:
            return 0.0
        pause = min(FIRST_WAIT_S * 2.0 ** min(self.count - 1, 30), LONGEST_WAIT_S)
        return max(self.last + pause - now, 0.0)


def sender_of(address: str) -> str:
    """Whom an address counts as: itself, or its network where it is one of IPv6."""
    try:
        found = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return address
    if isinstance(found, ipaddress.IPv4Address):
        return str(found)
    return str(found.ipv4_mapped or ipaddress.ip_network((found, 64), strict=False))


@dataclass
class Shown:
    """A code as the laptop shows it."""

    digits: str
    until: datetime
    ends: float
    wrong: Counter[str] = field(default_factory=Counter)
    """Wrong guesses at it, by sender."""

    def __str__(self) -> str:
        half = DIGITS // 2
        return f"{self.digits[:half]} {self.digits[half:]}"


@dataclass
class Desk:
    """Shows one code at a time and looks at guesses of it. `seconds` is a clock that nobody can set back."""

    seconds: Callable[[], float] = time.monotonic
    _code: Shown | None = None
    _each: dict[str, _Misses] = field(default_factory=dict)
    _lock: Lock = field(default_factory=Lock)

    def new_code(self) -> Shown:
        """Make a code in place of the one before it."""
        with self._lock:
            digits = "".join(secrets.choice("0123456789") for _ in range(DIGITS))
            self._code = Shown(digits, clock.now() + HOLDS, self.seconds() + HOLDS.total_seconds())
            return self._code

    def code(self) -> Shown | None:
        """The code that holds now, if one does: it ends by both clocks, whichever comes first."""
        code = self._code
        held = code is not None and self.seconds() < code.ends and clock.now() < code.until
        return code if held else None

    def wait(self, address: str) -> float:
        """How long whoever is at an address has to wait before a guess is looked at [s]."""
        now, sender, code = self.seconds(), sender_of(address), self.code()
        own = self._each.get(sender)
        spent = code is not None and code.wrong[sender] >= GUESSES_EACH
        return max(own.wait(now) if own else 0.0, code.ends - now if code is not None and spent else 0.0)

    def take(self, address: str, typed: str) -> bool:
        """Whether this is the code; a right one is used up, a wrong one counts.

        A guess made while its sender has to wait is false without being looked at.
        """
        sender = sender_of(address)
        with self._lock:
            if self.wait(address) > 0:
                return False
            code = self.code()
            shown = code.digits if code else secrets.token_hex(DIGITS)  # no code holds: nothing typed is like this
            if secrets.compare_digest(shown.encode(), _digits(typed).encode("utf-8", "replace")):
                self._code = None
                self._each.pop(sender, None)
                return True
            self._miss(sender, code)
            return False

    def _miss(self, sender: str, code: Shown | None) -> None:
        now = self.seconds()
        misses = self._each.pop(sender, None) or _Misses()
        misses.add(now)
        self._each[sender] = misses  # the latest stands last
        if len(self._each) > SENDERS:
            del self._each[next(iter(self._each))]
        if code is not None:
            code.wrong[sender] += 1
            if code.wrong.total() >= GUESSES:
                self._code = None


def _digits(typed: str) -> str:
    """A code without the blanks and strokes that people write into it; at most one sign more than a code has."""
    return "".join(sign for sign in typed if sign not in " -\u00a0")[: DIGITS + 1]
