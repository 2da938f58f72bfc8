"""Codes that pair a tablet with the book while it is open to the network: short-lived, used once, hard to guess.

A code has eight digits, holds for ten minutes and is withdrawn after ten wrong guesses, whoever made them: whoever
guesses has at best 10 chances in 100,000,000 for each code that is shown. After a wrong guess its sender waits 2 s,
4 s, 8 s and so on up to a quarter of an hour, and everybody else 1 s, 2 s, 4 s up to a minute; a guess that comes
earlier is not looked at, right or wrong. All of it is forgotten an hour after the last wrong guess.
"""

import secrets
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from threading import Lock

from app import clock

DIGITS = 8
HOLDS = timedelta(minutes=10)
GUESSES = 10
"""Wrong guesses after which a code is withdrawn."""

FORGET_S = 3600.0


@dataclass
class _Misses:
    """Wrong guesses of one sender, or of all, and the wait that follows from them."""

    first_s: float
    most_s: float
    count: int = 0
    last: float = 0.0

    def add(self, now: float) -> None:
        self.count = 1 if now - self.last > FORGET_S else self.count + 1
        self.last = now

    def wait(self, now: float) -> float:
        if not self.count or now - self.last > FORGET_S:
            return 0.0
        pause = min(self.first_s * 2.0 ** min(self.count - 1, 30), self.most_s)
        return max(self.last + pause - now, 0.0)


@dataclass
class Shown:
    """A code as the laptop shows it."""

    digits: str
    until: datetime
    ends: float
    wrong: int = 0

    def __str__(self) -> str:
        half = DIGITS // 2
        return f"{self.digits[:half]} {self.digits[half:]}"


@dataclass
class Desk:
    """Shows one code at a time and looks at guesses of it. `seconds` is a clock that nobody can set back."""

    seconds: Callable[[], float] = time.monotonic
    _code: Shown | None = None
    _all: _Misses = field(default_factory=lambda: _Misses(1.0, 60.0))
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

    def wait(self, sender: str) -> float:
        """How long a sender has to wait before a guess is looked at [s]."""
        now = self.seconds()
        own = self._each.get(sender)
        return max(self._all.wait(now), own.wait(now) if own else 0.0)

    def take(self, sender: str, typed: str) -> bool:
        """Whether this is the code; a right one is used up, a wrong one counts.

        A guess made while its sender has to wait is false without being looked at.
        """
        with self._lock:
            if self.wait(sender) > 0:
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
        self._each = {who: misses for who, misses in self._each.items() if now - misses.last <= FORGET_S}
        self._each.setdefault(sender, _Misses(2.0, 900.0)).add(now)
        self._all.add(now)
        if code is not None:
            code.wrong += 1
            if code.wrong >= GUESSES:
                self._code = None


def _digits(typed: str) -> str:
    """A code without the blanks and strokes that people write into it; at most one sign more than a code has."""
    return "".join(sign for sign in typed if sign not in " -\u00a0")[: DIGITS + 1]
