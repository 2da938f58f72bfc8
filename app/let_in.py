"""What the command line does about who may come in: one-time addresses for browsers, tokens for scripts."""

import sys
from datetime import datetime
from pathlib import Path

from app import clock
from app.access import door
from app.book.instance import Instance, InUse
from app.errors import Trouble


def address(book: Path) -> str:
    """A fresh one-time address of the book that is open."""
    if book.is_file():
        try:
            with Instance(book):
                pass
        except InUse as in_use:
            return way_in(in_use)
    raise Trouble(f"The book {book} is not open. Nothing was done. Start grainbook: it opens a browser by itself.")


def way_in(in_use: InUse) -> str:
    """The address that lets a browser in to the Grainbook that has the book, made with the key beside the book."""
    key = door.read_key(in_use.book)
    if not in_use.address or not in_use.run or key is None:
        return in_use.address
    return door.one_time(in_use.address, key, in_use.run)


def token(book: Path) -> str:
    """A new token for a script; what is said of it goes beside it, so that `> token.txt` keeps it alone."""
    if not book.is_file():
        raise Trouble(f"There is no book at {book}. Nothing was written. Start grainbook once to make it.")
    made, secret = door.new_token(book)
    words = f"This is token {made.number}. It is shown this once; “grainbook withdraw {made.number}” ends it."
    print(words, file=sys.stderr)
    return secret


def tokens(book: Path) -> str:
    """The tokens that hold, and when each was made."""
    held = [(one.number, clock.local(datetime.fromisoformat(one.made))) for one in door.tokens(book)]
    lines = [f"Token {number}, made {made:%Y-%m-%d %H:%M}" for number, made in held]
    return "\n".join(lines) or "No token holds. “grainbook token” makes one."


def withdraw(book: Path, number: str) -> str:
    """End a token."""
    if not (number.isascii() and number.isdecimal() and door.withdraw(book, int(number))):
        raise Trouble(f"There is no token “{number}”. Nothing was changed. “grainbook tokens” tells which hold.")
    return f"Token {number} is withdrawn: no script gets an answer by it any more."
