"""What a page of a grain shows of the looks at it, and the forms of the next one."""

from dataclasses import dataclass
from typing import Any

from sqlmodel import Session

from app.forms import Choice, Form
from app.models import Grain, GrainLook, GrainPicture
from app.models.batch import VoidIn
from app.models.grain_look import PARTS, UNSEEN, GrainLookIn
from app.models.picture import PictureIn, StrikeIn
from app.services.book import stored_files
from app.services.grains import looks
from app.web import Forms

CHOICES: dict[str, list[Choice]] = {part: list(states.items()) for part, states in PARTS.items()}


@dataclass(frozen=True)
class LookPart:
    """The looks at one grain, the newest first, and its pictures, each with the form to take it away."""

    form: Form
    looks: list[tuple[GrainLook, Form | None]]
    newest: GrainLook | None
    """The look that counts."""
    upload: Form
    pictures: list[tuple[GrainPicture, Form]]
    gone: list[GrainPicture]
    """Pictures that were taken away."""
    lost: dict[int, str]


def look_form(forms: Forms, grain: Grain) -> Form:
    """The form of the next look at a grain."""
    unseen = dict.fromkeys(PARTS, UNSEEN)
    return forms.get("look", GrainLookIn, f"/shelf/{grain.serial}/look", initial=unseen, choices=CHOICES)


def of_grain(session: Session, grain: Grain, forms: Forms) -> LookPart:
    """What stands on the grain's own page."""
    here = f"/shelf/{grain.serial}"
    rows, pictures = looks.history(session, grain), looks.pictures(session, grain)
    shown = [picture for picture in pictures if picture.voided_at is None]
    return LookPart(
        form=look_form(forms, grain),
        looks=[(row, _strike(forms, here, row)) for row in rows],
        newest=next((row for row in rows if row.voided_at is None), None),
        upload=forms.get("picture", PictureIn, f"{here}/pictures"),
        pictures=[
            (p, forms.get(f"strike-picture-{p.pk}", StrikeIn, f"{here}/pictures/{p.pk}/strike", row=p)) for p in shown
        ],
        gone=[picture for picture in pictures if picture.voided_at is not None],
        lost=stored_files.lost_of(session, shown),
    )


def _strike(forms: Forms, here: str, row: GrainLook) -> Form | None:
    if row.voided_at is not None:
        return None
    return forms.get(f"strike-look-{row.pk}", VoidIn, f"{here}/look/{row.pk}/strike", row=row)


def proposed(grain: Grain, doubt: str) -> dict[str, Any]:
    """What stands in the form of a decision that nobody made yet, of a grain on which a look found something."""
    if grain.decision is not None or not doubt:
        return {}
    return {"decision": "hold", "why": f"{doubt[:1].upper()}{doubt[1:]}."}
