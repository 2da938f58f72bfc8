"""The one search field: a grain's serial or label leads straight to its page, anything else to what has it."""

from fastapi import Request
from fastapi.responses import Response

from app.page import Page
from app.routing import late_router
from app.services.book import search, serials
from app.services.book.search import Group
from app.services.grains import finding
from app.web import Book, redirect, render

router = late_router("/find")


class FindPage(Page, template="book/find.html", section=""):
    """What was found of what was typed, by kind; where nothing was, which serials come near."""

    typed: str
    groups: list[Group]
    of: str
    """The kind that alone is shown; "" for all."""
    near: list[str]
    words: str
    """Why no grain is meant; "" where something was found."""


@router.get("")
def find(request: Request, session: Book, q: str = "", of: str = "") -> Response:
    """The page of the grain that was typed or scanned; else what in the book has the words, the code or the date."""
    typed = q[: search.LONGEST]
    found = finding.find(session, typed)
    if found.grain is not None:
        return redirect(f"/shelf/{found.grain.serial}")
    of = of if of in search.NAMES else ""
    groups = [] if serials.is_address(serials.scanned(typed)) else search.search(session, typed, of)
    words = "" if groups else found.words
    page = FindPage(typed=typed, groups=groups, of=of, near=[] if groups else found.near, words=words)
    return render(request, session, page, 404 if words and typed.strip() else 200)
