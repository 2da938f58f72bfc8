"""The first start: six questions on one page, each of which can be skipped and taken up again."""

from typing import Any

from fastapi import Request
from fastapi.responses import Response
from sqlmodel import Session

from app.forms import Form
from app.models.start import StartIn
from app.page import Page
from app.routing import late_router
from app.services.hardware import inventory
from app.services.today import first_start
from app.services.today.first_start import Question
from app.web import Book, Forms, Typed, render, submit

router = late_router("/start")

OPEN = ("", "choose…")


class StartPage(Page, template="today/start.html", section="workshop"):
    """The questions as they stand, and the one form for all of them."""

    form: Form
    questions: list[Question]
    can_plan: bool


@router.get("")
def show(request: Request, session: Book) -> Response:
    """What is still asked, and what stands."""
    return _page(request, session)


@router.post("")
def keep(request: Request, typed: Typed) -> Response:
    """Put what was said in the book."""
    entered: list[str] = []

    def act(writing: Session, data: Any) -> str:
        entered.extend(first_start.keep(writing, data))
        return "/start"

    return submit(
        request,
        typed,
        StartIn,
        act=act,
        page=lambda s, form: _page(request, s, form),
        notice=lambda: f"In the book: {', '.join(entered)}." if entered else "Kept.",
        choices=_choices(),
    )


def _choices() -> dict[str, list[tuple[str, str]]]:
    return {
        "burning_ends": [OPEN, *first_start.ENDS.items()],
        "case_material": [OPEN, *inventory.MATERIALS.items()],
        "sugar": [OPEN, *((name, name) for name in first_start.SUGARS)],
    }


def _page(request: Request, session: Session, failed: Form | None = None) -> Response:
    forms = Forms(request, session, failed)
    form = forms.get("form", StartIn, "/start", initial=first_start.begun(session), choices=_choices())
    found = first_start.questions(session)
    plain = {question.title: question for question in found}
    can_plan = bool(plain["Formula"].stands) and bool(inventory.patterns(session))
    return render(request, session, StartPage(form=form, questions=found, can_plan=can_plan))
