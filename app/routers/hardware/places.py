"""Pages of rockets and fields."""

from markupsafe import Markup
from sqlmodel import Session

from app.models import LaunchField, Rocket
from app.models.place import CHUTE_BASES, LaunchFieldIn, RocketIn
from app.page import Page
from app.routers.book.crud_pages import Listed, Noun, Shown, add_pages
from app.routers.hardware import place_pictures
from app.routing import late_router
from app.services.book import workshop
from app.services.firings import heights
from app.services.hardware import distances, places
from app.services.hardware.places import Flown

router = late_router()


def _choices(_session: Session) -> dict[str, list[tuple[str, str]]]:
    bases = list(CHUTE_BASES.items())
    return {"main_basis": bases, "drogue_basis": bases}


def _initial(rocket: Rocket | None) -> dict[str, str]:
    if rocket is None:
        return {"drag_coefficient": "0.5", "main_basis": "flat", "drogue_basis": "flat"}
    lines = {"drag_points": ""}
    for i, (mach, coefficient) in enumerate(places.drag_table(rocket)):
        lines |= {f"drag_points.{i}.mach": f"{mach:g}", f"drag_points.{i}.coefficient": f"{coefficient:g}"}
    return lines


class RocketsPage(
    Page,
    template="hardware/rockets.html",
    section="workshop",
    group="People and places",
    tabs=[(13, "/workshop/rockets", "Rockets")],
):
    """The rockets."""

    listed: Listed[Rocket]


class RocketPage(Page, template="hardware/rocket.html", section="workshop"):
    """A rocket: how it has flown, its picture, and its form."""

    shown: Shown[Rocket]
    flown: Flown | None
    picture: Markup | None


class FieldsPage(
    Page,
    template="hardware/fields.html",
    section="workshop",
    group="People and places",
    tabs=[(14, "/workshop/fields", "Fields")],
):
    """The fields."""

    listed: Listed[LaunchField]


class FieldPage(Page, template="hardware/field.html", section="workshop"):
    """A field: how high was flown from it, its picture, and its form."""

    shown: Shown[LaunchField]
    flown: Flown | None
    size: str
    picture: Markup | None


def _rocket(session: Session, shown: Shown[Rocket]) -> RocketPage:
    rocket = shown.row
    if rocket is None:
        return RocketPage(shown=shown, flown=None, picture=None)
    found = places.flown(session, rocket)
    drawn = place_pictures.of_rocket(rocket, found, workshop.get(session).units)
    return RocketPage(shown=shown, flown=found, picture=drawn)


def _field(session: Session, shown: Shown[LaunchField]) -> FieldPage:
    field, units = shown.row, workshop.get(session).units
    if field is None:
        return FieldPage(shown=shown, flown=None, size="", picture=None)
    found = places.flown(session, field)
    least = distances.least(session, found.impulse_class) if found.impulse_class else None
    drawn = place_pictures.of_field(field, found.heights_m, units, least)
    return FieldPage(shown=shown, flown=found, size=place_pictures.size_words(field, units), picture=drawn)


ROCKETS = Noun(
    "rockets",
    "rocket",
    Rocket,
    RocketIn,
    places.save_rocket,
    places.rockets,
    list_page=lambda _session, listed: RocketsPage(listed=listed),
    page=lambda session, shown, _forms: _rocket(session, shown),
    choices=_choices,
    initial=_initial,
    changed=heights.catch_up,
)
FIELDS = Noun(
    "fields",
    "field",
    LaunchField,
    LaunchFieldIn,
    places.save_field,
    places.fields,
    list_page=lambda _session, listed: FieldsPage(listed=listed),
    page=lambda session, shown, _forms: _field(session, shown),
    changed=heights.catch_up,
)

add_pages(router, ROCKETS)
add_pages(router, FIELDS)
