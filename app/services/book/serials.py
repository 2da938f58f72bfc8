"""Codes of lots, grains and motors: how new ones are made, and one reader for every field that takes a serial.

A lot is year, month and a letter for the batch of that month (2611P), its grains are numbered (2611P-04), a motor is
year and number of the year (26-031). The letters are P to Z: those up to O are classes of impulse that people fly, and
a bag must not read like one. Codes of older books (lot 26K3, motor M26K-02) stay as they are and are found as before.
"""

import re
from collections.abc import Iterable
from datetime import date
from urllib.parse import unquote, urlsplit

LETTERS = "PQRSTUVWXYZ"
"""The batches of a month; after eleven come PP, PQ, … ZZ, and then three letters."""

_WHOLE = re.compile(rf"(?P<lot>\d{{4}}[{LETTERS}]{{1,3}}|\d\d[A-Z]\d+)-(?P<number>\d+)", re.ASCII)


def lot_code(day: date, taken: Iterable[str]) -> str:
    """The code of the next lot of that day's month: after the last of these codes that are of that month."""
    prefix = f"{day:%y%m}"
    ends = [code.removeprefix(prefix) for code in taken if code.startswith(prefix)]
    return prefix + _letters(max((_count(end) for end in ends), default=0) + 1)


def _letters(n: int) -> str:
    """The n-th of P … Z, PP, PQ …"""
    letters = ""
    while n:
        n, last = divmod(n - 1, len(LETTERS))
        letters = LETTERS[last] + letters
    return letters


def _count(letters: str) -> int:
    """Which one in that order; 0 for anything else."""
    n = 0
    for letter in letters:
        if letter not in LETTERS:
            return 0
        n = n * len(LETTERS) + LETTERS.index(letter) + 1
    return n


def motor_prefix(day: date) -> str:
    """What the code of a motor of that year begins with; its number follows."""
    return f"{day:%y}-"


def scanned(text: str) -> str:
    """The serial in a text: as it was typed, in capitals, or out of the address in a label's code; 2611p-4 is 2611P-04.

    The address of something else than a grain comes back as it is: `is_address` tells it.
    """
    text = text.strip()
    if not is_address(text):
        return _in_full(text.upper())
    try:
        path = unquote(urlsplit(text).path)
    except ValueError:  # such as a bracket that no address has there
        return text
    return _in_full(path.rpartition("/shelf/")[2].strip("/").upper()) if "/shelf/" in path else text


def _in_full(serial: str) -> str:
    """A whole serial with its number in two figures, as labels have it; any other text as it is."""
    found = _WHOLE.fullmatch(serial)
    return f"{found['lot']}-{found['number'].lstrip('0').zfill(2)}" if found else serial


def is_address(text: str) -> bool:
    """Whether a text is an address, as codes on labels hold one."""
    return "://" in text or text.startswith("/")


def parts(text: str) -> tuple[str, str] | None:
    """Lot and number of a whole serial, typed or scanned; nothing for a part of one or for anything else."""
    found = _WHOLE.fullmatch(scanned(text))
    return (found["lot"], found["number"]) if found else None
