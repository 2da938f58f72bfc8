"""Pages of what is bought: consumables, the sizes that things are sold in, and deliveries."""

from typing import Any

from fastapi import Request
from fastapi.responses import Response
from sqlmodel import Session

from app import clock
from app.forms import Form
from app.models import Consumable, Delivery, PackSize
from app.models.batch import VoidIn
from app.models.buying import USED_BY, ArrivedIn, ConsumableIn, DeliveryIn, PackSizeIn
from app.page import Page
from app.routers.book.crud_pages import Choices, Listed, Noun, Shown, add_pages
from app.routing import late_router
from app.services.book import repository
from app.services.hardware import inventory
from app.services.stock import consumables, deliveries, sizes, things
from app.web import Book, Forms, Typed, choose, submit, version_of

router = late_router()


class ConsumablesPage(
    Page,
    template="stock/consumables.html",
    section="workshop",
    group="Stock",
    tabs=[(4, "/workshop/consumables", "Used up besides")],
):
    """What is used up besides propellant, with how many are there."""

    listed: Listed[Consumable]
    left: dict[int, float]
    used_by: dict[str, str]


class SizesPage(
    Page, template="stock/sizes.html", section="workshop", group="Stock", tabs=[(5, "/workshop/sizes", "Sizes sold")]
):
    """The sizes that things are sold in, as written down and from earlier bags."""

    listed: Listed[PackSize]
    names: dict[int, str]
    of_bags: list[tuple[str, list[sizes.Size]]]


class SizePage(Page, template="stock/size.html", section="workshop"):
    """A size that something is sold in."""

    shown: Shown[PackSize]


class DeliveriesPage(
    Page,
    template="stock/deliveries.html",
    section="workshop",
    group="Stock",
    tabs=[(6, "/workshop/deliveries", "Deliveries")],
):
    """What is on its way, and what has come."""

    listed: Listed[Delivery]
    names: dict[int, str]
    arrived: list[Delivery]
    off: list[Delivery]


class DeliveryPage(Page, template="stock/delivery.html", section="workshop"):
    """A delivery, and the form that takes it in."""

    shown: Shown[Delivery]
    arrive: Form | None
    call_off: Form | None
    is_bag: bool


def _consumable_choices(session: Session) -> Choices:
    return {
        "used_by": list(USED_BY.items()),
        "casting_tube_id": choose(inventory.tubes(session)),
        "case_id": choose(inventory.cases(session)),
    }


def _thing_choices(session: Session) -> Choices:
    return {"thing": things.choices(session)}


def _names(session: Session, rows: list[Any]) -> dict[int, str]:
    return {row.pk: things.of_row(session, row.ingredient, row.consumable_id).name for row in rows}


def _consumables_page(session: Session, listed: Listed[Consumable]) -> Page:
    left = {row.pk: consumables.left(session, row) for row in listed.rows}
    return ConsumablesPage(listed=listed, left=left, used_by=USED_BY)


def _sizes_page(session: Session, listed: Listed[PackSize]) -> Page:
    every = [things.read(session, key) for key, _ in things.choices(session)]
    found = [(thing.name, [size for size in sizes.of(session, thing) if size.from_bag]) for thing in every]
    return SizesPage(
        listed=listed, names=_names(session, list(listed.rows)), of_bags=[(name, of) for name, of in found if of]
    )


def _deliveries_page(session: Session, listed: Listed[Delivery]) -> Page:
    gone, off = deliveries.arrived(session), deliveries.called_off(session)
    return DeliveriesPage(listed=listed, names=_names(session, [*listed.rows, *gone, *off]), arrived=gone, off=off)


def _size_page(_session: Session, shown: Shown[PackSize], _forms: Forms) -> Page:
    return SizePage(shown=shown)


def _delivery_page(_session: Session, shown: Shown[Delivery], forms: Forms) -> Page:
    row = shown.row
    if row is None or row.arrived_on is not None or row.voided_at is not None:
        return DeliveryPage(shown=shown, arrive=None, call_off=None, is_bag=False)
    url = f"/workshop/deliveries/{row.pk}/arrived"
    form = forms.get("arrive", ArrivedIn, url, row=row, initial={"arrived_on": clock.today()})
    off = forms.get("off", VoidIn, f"/workshop/deliveries/{row.pk}/off", row=row)
    return DeliveryPage(shown=shown, arrive=form, call_off=off, is_bag=row.ingredient is not None)


CONSUMABLES = Noun(
    "consumables",
    "thing used up",
    Consumable,
    ConsumableIn,
    consumables.save,
    consumables.listed,
    list_page=_consumables_page,
    choices=_consumable_choices,
    initial=lambda row: {"used_by": "motor", "per_use": "1"} if row is None else {},
)
SIZES = Noun(
    "sizes",
    "size",
    PackSize,
    PackSizeIn,
    sizes.save,
    lambda session, retired: [] if retired else sizes.listed(session),
    list_page=_sizes_page,
    page=_size_page,
    choices=_thing_choices,
    initial=lambda row: {"sold": "on"} if row is None else {},
    texts=sizes.texts,
)
DELIVERIES = Noun(
    "deliveries",
    "delivery",
    Delivery,
    DeliveryIn,
    deliveries.save,
    lambda session, retired: [] if retired else deliveries.coming(session),
    list_page=_deliveries_page,
    page=_delivery_page,
    choices=_thing_choices,
    texts=deliveries.texts,
)

add_pages(router, CONSUMABLES)
add_pages(router, SIZES)
add_pages(router, DELIVERIES)


@router.post("/workshop/deliveries/{row_id}/arrived")
def arrive(request: Request, session: Book, row_id: int, typed: Typed) -> Response:
    """Take a delivery in."""
    repository.get(session, Delivery, row_id, "delivery")

    def act(writing: Session, data: ArrivedIn) -> str:
        row = repository.get(writing, Delivery, row_id, "delivery")
        deliveries.arrive(writing, row, data, version_of(typed))
        return f"/workshop/supplies/{row.supply_id}" if row.supply_id else "/workshop/consumables"

    return submit(
        request,
        typed,
        ArrivedIn,
        act=act,
        form_id="arrive",
        page=lambda s, form: DELIVERIES.show(request, s, row_id, form),
        notice="It is in the book.",
    )


@router.post("/workshop/deliveries/{row_id}/off")
def call_off(request: Request, session: Book, row_id: int, typed: Typed) -> Response:
    """Say that a delivery will not come."""
    repository.get(session, Delivery, row_id, "delivery")

    def act(writing: Session, data: VoidIn) -> str:
        row = repository.get(writing, Delivery, row_id, "delivery")
        deliveries.call_off(writing, row, data, version_of(typed))
        return "/workshop/deliveries"

    return submit(
        request,
        typed,
        VoidIn,
        act=act,
        form_id="off",
        page=lambda s, form: DELIVERIES.show(request, s, row_id, form),
        notice="It is called off.",
    )
