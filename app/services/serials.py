"""A grain's serial as a person types it or as a label's code says it: one reader for every field that takes one."""

import re
from urllib.parse import unquote, urlsplit

_WHOLE = re.compile(r"(?P<lot>\d\d[A-Z]\d+)-(?P<number>\d+)", re.ASCII)


def scanned(text: str) -> str:
    """The serial in a text: as it was typed, in capitals, or out of the address in a label's code; 26k3-4 is 26K3-04.

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
