"""A record that a program wrote as one object (JSON, or a list as it is printed), as the lines of a table."""

import json
from collections.abc import Mapping, Sequence

_LEAST = 10
_DEEP = 4


def object_lines(text: bytes) -> bytes | None:
    """Give the largest table in an object as lines.

    Parameters
    ----------
    text : bytes
        The text [-].

    Returns
    -------
    bytes or None
        Lines of cells parted by tabs, with their names above if they have any; None where it is no such object [-].

    Notes
    -----
    A table is a list of objects or of lists, or an object of lists of one length, ten rows at least. Round brackets,
    as of printed tuples, count as square ones. Numbers stay as they were written.

    References
    ----------
    RFC 8259 (from memory).

    Examples
    --------
    >>> object_lines(b'{"log": {"t": [' + b"0, " * 9 + b'1], "F": [' + b"2.50, " * 9 + b"0]}}").splitlines()[:2]
    [b't\\tF', b'0\\t2.50']
    """
    if text[:100].lstrip()[:1] not in (b"[", b"{", b"(") or text[-100:].rstrip()[-1:] not in (b"]", b"}", b")"):
        return None
    bare = text.strip()
    try:
        words = bare.decode("utf-8", "replace")
        if bare[:2] in (b"[(", b"((") or bare[:1] == b"(":
            words = words.replace("(", "[").replace(")", "]")
        found = _table(json.loads(words, parse_float=str, parse_int=str), 0)
    except (ValueError, RecursionError):
        return None
    if len(found) < _LEAST:
        return None
    return ("\n".join("\t".join(row) for row in found) + "\n").encode()


def _table(value: object, depth: int) -> list[list[str]]:
    """The rows of the largest table in a value, or none."""
    if depth > _DEEP:
        return []
    if isinstance(value, Mapping):
        columns = {key: one for key, one in value.items() if isinstance(one, list) and _plain(one)}
        longest = max((len(one) for one in columns.values()), default=0)
        even = {key: one for key, one in columns.items() if len(one) == longest}
        own = [list(map(_cell, even)), *(list(map(_cell, row)) for row in zip(*even.values(), strict=True))]
        inner = [_table(one, depth + 1) for one in value.values() if isinstance(one, Mapping) or not _plain(one)]
        return max([own if longest else [], *inner], key=len)
    if not isinstance(value, list) or not value:
        return []
    if all(isinstance(one, Mapping) for one in value):
        names = list(
            dict.fromkeys(key for one in value for key, held in one.items() if not isinstance(held, list | dict))
        )
        return [names, *([_cell(one.get(name)) for name in names] for one in value)] if names else []
    if all(isinstance(one, list) and _plain(one) for one in value) and len(value) >= _LEAST:
        return [list(map(_cell, one)) for one in value]
    if _plain(value):
        return [[_cell(one)] for one in value]
    return max((_table(one, depth + 1) for one in value), key=len)


def _plain(value: object) -> bool:
    return isinstance(value, Sequence) and not any(isinstance(one, list | dict) for one in value)


def _cell(value: object) -> str:
    return "" if value is None else " ".join(str(value).split())
