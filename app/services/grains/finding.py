"""A grain in the hand: found by what is typed or scanned, or else what comes nearest to it; words: `book.search`."""

import re
from dataclasses import dataclass
from difflib import get_close_matches

from sqlmodel import Session, col, select

from app.models import Grain
from app.services.book import serials
from app.services.grains import grains

NEAR = 6
"""So many that come near are offered at most."""


@dataclass(frozen=True)
class Found:
    """The grain that was meant, or the serials nearest to what was typed and why none is that grain."""

    grain: Grain | None
    near: list[str]
    words: str


def find(session: Session, text: str) -> Found:
    """The grain of a serial, as it was typed, scanned off a label or written without its hyphen; else what is near.

    A part of a serial is never taken for the whole of one: what it fits is offered.
    """
    wanted = serials.scanned(text)
    if not wanted:
        return Found(None, [], "Type a serial, a word or a date, or scan a label.")
    grain = grains.find(session, wanted) or grains.find(session, serials.scanned(_hyphened(wanted)))
    if grain is not None:
        return Found(grain, [], "")
    if serials.is_address(wanted):
        return Found(None, [], "What was scanned is not the label of a grain. Scan the label on the bag.")
    near = _near(session, wanted)
    words = f"There is no “{text.strip()}” in this book."
    return Found(None, near, f"{words} Which one is it?" if near else f"{words} A shorter word or a month finds more.")


def _hyphened(serial: str) -> str:
    """A serial written in one, or with a blank or a dot: 2611P4 and 2611P 4 are 2611P-4."""
    found = re.fullmatch(rf"(\d{{4}}[{serials.LETTERS}]{{1,3}})[\s._/]*(\d{{1,3}})", serial, re.ASCII)
    return f"{found[1]}-{found[2]}" if found else serial


def _near(session: Session, wanted: str) -> list[str]:
    """Serials that have it in them, newest first; else those that differ from it least."""
    newest = select(Grain.serial).order_by(col(Grain.id).desc())
    inside = list(session.exec(newest.where(col(Grain.serial).contains(wanted, autoescape=True)).limit(NEAR)))
    return inside or get_close_matches(wanted, list(session.exec(newest)), NEAR, 0.6)
