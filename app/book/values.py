"""Values as they stand in the file, read without a word of what they should be: a text that is no text too."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass


@dataclass(frozen=True)
class NotText:
    """A text in the file that is no UTF-8."""

    raw: bytes


def as_text(raw: bytes) -> str | NotText:
    """A text of the file; how a connection reads texts (`text_factory`)."""
    try:
        return raw.decode()
    except UnicodeDecodeError:
        return NotText(raw)


@contextmanager
def as_they_stand(connection: sqlite3.Connection) -> Iterator[None]:
    """Let a connection read texts that are no UTF-8, inside."""
    usual = connection.text_factory
    connection.text_factory = as_text
    try:
        yield
    finally:
        connection.text_factory = usual
