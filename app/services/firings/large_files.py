"""What files give, remembered for the next press; large ones are read aside, with their progress and a way to stop."""

import hashlib
import json
import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from app.errors import BookError
from app.services.book.under_way import Step, Tell, Work, Works
from app.services.firings.opened_files import Opened

FROM_BYTES = 6_000_000
"""A file from this size on is read aside: some 300,000 lines, half a second's work [bytes]."""

AT_ONCE_S = 0.4
"""A reading that is over by then is shown by the press that began it [s]."""

MOST = 2
"""Readings remembered, the last ones: each holds the samples of its burn."""

MOST_SMALL = 8
"""Readings of smaller files remembered: what is looked at is mostly looked at again, and then saved."""

_MB = 1_000_000


@dataclass(frozen=True)
class Asked:
    """Which file is read aside, and how: the texts of its form."""

    sha256: str
    texts: dict[str, str]


Reading = Work[Any]
"""A reading that was begun (`book.under_way`)."""

Read = Callable[[Callable[[float], None]], Any]
"""Reads a text: given what is told the share that is read, and may stop it."""

_readings: Works[Any] = Works("reading of the file", MOST)
_asked: dict[str, Asked] = {}
_small: OrderedDict[str, Any] = OrderedDict()
_lock = threading.Lock()


class Stopped(BookError):
    """A reading was stopped by a person; no fault of the file."""


class StillReading(Exception):
    """It is not over: how far it is."""

    def __init__(self, reading: Reading) -> None:
        super().__init__(reading.key)
        self.reading = reading


def key_of(asked: Asked, beside: Any) -> str:
    """What a reading is found by: the file, how it is read, and what is known beside that goes into its figures."""
    whole = json.dumps([asked.sha256, sorted(asked.texts.items()), repr(beside)])
    return hashlib.sha256(whole.encode()).hexdigest()


def of(key: str, sha256: str) -> tuple[Reading, dict[str, str]] | None:
    """The reading of a file that was begun by this key, with the texts of its form."""
    found, asked = _readings.of(key), _asked.get(key)
    return (found, asked.texts) if found is not None and asked is not None and asked.sha256 == sha256 else None


def read(asked: Asked, beside: Any, opened: Opened, do: Read) -> Any:
    """What a file holds, as `do` reads it: at once where it is small or was read so already.

    Raises
    ------
    StillReading
        It is read aside and not over.
    Refused, CalcError
        It cannot be read so.
    Stopped
        A person ended it.
    """
    key, size = key_of(asked, beside), max(1, len(opened.raw) // _MB)
    if len(opened.raw) < FROM_BYTES:
        return _at_once(key, do)
    one = _readings.of(key)
    if one is None or one.stopped:
        _asked[key] = asked
        for old in list(_asked)[: -4 * MOST]:
            del _asked[old]
        one = _readings.begin(key, lambda tell: do(_told(tell, size)), AT_ONCE_S)
    if not one.over.is_set():
        raise StillReading(one)
    if one.error is not None:
        raise one.error
    return one.found


def _at_once(key: str, do: Read) -> Any:
    found = _small.get(key)
    if found is None:
        found = do(lambda _share: None)
    with _lock:
        _small[key] = found
        _small.move_to_end(key)
        while len(_small) > MOST_SMALL:
            _small.popitem(last=False)
    return found


def stop(key: str) -> None:
    """Ask a reading to end; nothing of it is kept."""
    _readings.stop(key)


def _told(tell: Tell, size: int) -> Callable[[float], None]:
    def share(part: float) -> None:
        doing = "MB of the file read" if part < 1 else "MB of the file read; looking for the burn"
        if not tell(Step(doing, round(part * size), size)):
            raise Stopped("The reading was stopped; nothing was kept. The file is in the book as it came.")

    return share
