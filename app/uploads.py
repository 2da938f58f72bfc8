"""Files that a person sends with a form: read whole, up to a limit, told apart from the form's texts.

The file's name is kept as the text of its field, so that a form can show it; it is never used as a path.
"""

import re
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field

from fastapi import Request
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException

FORM_ROOM = 1_000_000
"""What the texts of a form may add to the files [bytes]."""


@dataclass(frozen=True)
class Sent:
    """A form with files: its texts (a file's name stands for it) and the content of each file."""

    texts: list[tuple[str, str]] = field(default_factory=list)
    files: dict[str, bytes] = field(default_factory=dict)
    too_large: bool = False


def refuse_larger(request: Request, most: int) -> None:
    """Refuse a request without files that is longer than it says it may be, or does not say, before it is read.

    Raises
    ------
    HTTPException
        413; a page can be drawn from it.
    """
    told = request.headers.get("content-length")
    files = request.headers.get("content-type", "").startswith("multipart/")
    if (told is None and files) or (told is not None and not (told.isdecimal() and int(told[:18]) <= most)):
        raise HTTPException(413, f"This is more than the {most // 1_000_000} MB that a form may have.")


def refuse_foreign_text(request: Request) -> None:
    """Refuse a form that says its text is in another code than UTF-8, the one that every page of ours is in.

    What it would be read by is any of Python's codecs, some of which are no codes of text at all.

    Raises
    ------
    HTTPException
        415; a page can be drawn from it.
    """
    for kind in request.headers.getlist("content-type"):
        for code in re.findall(r"charset[^;]*", kind, re.IGNORECASE):
            if not re.fullmatch(r"charset\s*=\s*\"?utf[-_]?8\"?\s*", code, re.IGNORECASE):
                raise HTTPException(415, "This form says that its text is not UTF-8, which is what this book reads.")


def up_to(most: int) -> Callable[[Request], Awaitable[Sent]]:
    """A dependency that reads a form with files of at most so many bytes in all.

    What is larger is thrown away as it comes, never kept: it is read to its end only because a browser shows a
    broken connection, not an answer, when a server stops listening.
    """

    async def read(request: Request) -> Sent:
        refuse_foreign_text(request)
        told = request.headers.get("content-length", "")
        if not told.isdecimal() or int(told[:18]) > most + FORM_ROOM:
            async for _ in request.stream():
                pass
            return Sent(too_large=True)
        sent = Sent()
        async with request.form() as data:
            for name, value in data.multi_items():
                if isinstance(value, UploadFile):
                    sent.texts.append((writable(name), writable((value.filename or "")[-200:])))
                    sent.files[name] = await value.read()
                else:
                    sent.texts.append((writable(name), writable(value)))
        return sent

    return read


def writable(text: str) -> str:
    """The text with a mark in place of halves of characters, which no file can hold."""
    return text.encode("utf-8", "replace").decode("utf-8")
