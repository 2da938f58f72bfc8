"""Pages of rockets and fields."""

from typing import Any

from fastapi import APIRouter
from sqlmodel import Session

from app.models import LaunchField, Rocket
from app.models.place import CHUTE_BASES, LaunchFieldIn, RocketIn
from app.routers.book.crud_pages import Noun, add_pages
from app.services.hardware import places

router = APIRouter()


def _choices(_session: Session) -> dict[str, list[tuple[str, str]]]:
    bases = list(CHUTE_BASES.items())
    return {"main_basis": bases, "drogue_basis": bases}


def _initial(rocket: Any) -> dict[str, str]:
    if rocket is None:
        return {"drag_coefficient": "0.5", "main_basis": "flat", "drogue_basis": "flat"}
    lines = {"drag_points": ""}
    for i, (mach, coefficient) in enumerate(places.drag_table(rocket)):
        lines |= {f"drag_points.{i}.mach": f"{mach:g}", f"drag_points.{i}.coefficient": f"{coefficient:g}"}
    return lines


ROCKETS = Noun(
    "hardware",
    "rockets",
    "rocket",
    Rocket,
    RocketIn,
    places.save_rocket,
    places.rockets,
    page="hardware/rocket.html",
    choices=_choices,
    initial=_initial,
)
FIELDS = Noun(
    "hardware",
    "fields",
    "field",
    LaunchField,
    LaunchFieldIn,
    places.save_field,
    places.fields,
    page="hardware/field.html",
)

for noun in (ROCKETS, FIELDS):
    add_pages(router, noun)
