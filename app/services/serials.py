"""A grain's serial as a person types it or as a label's code says it: one reader for every field that takes one."""

import re
from urllib.parse import unquote, urlsplit

_WHOLE = re.compile(r"(?P<lot>\d\d[A-Z]\d+)-(?P<number>\d+)", re.ASCII)


def scanned(text: str) -> str:
    """The serial in a text: as it was typed, in capitals, or out of the address in a label's code.

    The address of something else than a grain comes back as it is: `is_address` tells it.
    """
    text = text.strip()
    if not is_address(text):
        return text.upper()
    try:
        path = unquote(urlsplit(text).path)
    except ValueError:  # such as a bracket that no address has there
        return text
    return path.rpartition("/shelf/")[2].strip("/").upper() if "/shelf/" in path else text


def is_address(text: str) -> bool:
    """Whether a text is an address, as codes on labels hold one."""
    return "://" in text or text.startswith("/")


def parts(text: str) -> tuple[str, str] | None:
    """Lot and number of a whole serial, typed or scanned; nothing for a part of one or for anything else."""
    found = _WHOLE.fullmatch(scanned(text))
    return (found["lot"], found["number"]) if found else None
