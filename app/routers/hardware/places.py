"""Pages of rockets and fields."""

from sqlmodel import Session

from app.models import LaunchField, Rocket
from app.models.place import CHUTE_BASES, LaunchFieldIn, RocketIn
from app.page import Page
from app.routers.book.crud_pages import Listed, Noun, Shown, add_pages
from app.routing import late_router
from app.services.firings import heights
from app.services.hardware import places

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
    Page, template="hardware/rockets.html", section="workshop", tabs=[(9, "/workshop/rockets", "Rockets")]
):
    """The rockets."""

    listed: Listed[Rocket]


class RocketPage(Page, template="hardware/rocket.html", section="workshop"):
    """A rocket."""

    shown: Shown[Rocket]


class FieldsPage(Page, template="hardware/fields.html", section="workshop", tabs=[(10, "/workshop/fields", "Fields")]):
    """The fields."""

    listed: Listed[LaunchField]


class FieldPage(Page, template="hardware/field.html", section="workshop"):
    """A field."""

    shown: Shown[LaunchField]


ROCKETS = Noun(
    "rockets",
    "rocket",
    Rocket,
    RocketIn,
    places.save_rocket,
    places.rockets,
    list_page=lambda _session, listed: RocketsPage(listed=listed),
    page=lambda _session, shown, _forms: RocketPage(shown=shown),
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
    page=lambda _session, shown, _forms: FieldPage(shown=shown),
    changed=heights.catch_up,
)

add_pages(router, ROCKETS)
add_pages(router, FIELDS)
