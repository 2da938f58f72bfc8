"""A grain in the hand: from its serial or its label to its notes."""

from fastapi import Request
from fastapi.responses import Response

from app.page import Page
from app.routing import late_router
from app.services.grains import finding
from app.web import Book, redirect, render

router = late_router("/find")


class FindPage(Page, template="book/find.html", section="shelf"):
    """What was typed or scanned is no grain of the book: what comes near."""

    typed: str
    near: list[str]
    words: str


@router.get("")
def find(request: Request, session: Book, code: str = "") -> Response:
    """The page of the grain that was typed or scanned; where there is none, the nearest ones."""
    found = finding.find(session, code[:200])
    if found.grain is not None:
        return redirect(f"/shelf/{found.grain.serial}")
    page = FindPage(typed=code[:200], near=found.near, words=found.words)
    return render(request, session, page, 404 if code.strip() else 200)
