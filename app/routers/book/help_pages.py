"""The help pages: what each part of the book is for, and how its numbers are made."""

from fastapi import Request
from fastapi.responses import Response

from app.page import Page
from app.routing import late_router
from app.services.cast import cautions
from app.web import Book, render

router = late_router()


class HelpPage(Page, template="book/help.html", section="help"):
    """The help, with the cautions that come before everything."""

    law: str
    burns: str


class WordsPage(Page, template="book/words.html", section="help"):
    """Every word of the trade, of statistics and of the book, with what it is."""


@router.get("/help")
def show(request: Request, session: Book) -> Response:
    """The help page."""
    return render(request, session, HelpPage(law=cautions.LAW, burns=cautions.BURNS))


@router.get("/help/words")
def words(request: Request, session: Book) -> Response:
    """The page of words."""
    return render(request, session, WordsPage())
