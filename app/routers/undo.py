"""Taking back what was a slip: one small form each, on the page where the slip was made."""

from fastapi import Request
from fastapi.responses import Response
from sqlmodel import Session

from app.models import Grain, Nozzle, NozzleMeasure, ReWeigh
from app.models.base import FormIn
from app.models.batch import VoidIn
from app.routers.cast import planning, session_page
from app.routers.firings import firings
from app.routers.grains import one_grain
from app.routers.hardware.inventory import NOZZLES
from app.routing import late_router
from app.services.book import repository
from app.services.firings import firings as fired
from app.services.grains import reweighs, undo
from app.services.stock import batches
from app.web import Book, Typed, submit, version_of

router = late_router()

STRUCK = "Struck out; it stays readable."


@router.post("/cast/{code}/temperature/{reading_id}/strike")
def strike_temperature(request: Request, typed: Typed, code: str, reading_id: int) -> Response:
    """Strike out a reading of the pan."""

    def act(session: Session, data: VoidIn) -> str:
        undo.strike_temperature(session, batches.by_code(session, code), reading_id, data, version_of(typed))
        return f"/cast/{code}#temperature"

    return submit(
        request,
        typed,
        VoidIn,
        act=act,
        page=lambda s, form: session_page.page_of(request, s, code, form),
        form_id=f"misread-{reading_id}",
        notice=STRUCK,
    )


@router.post("/cast/{code}/leftover/{leftover_id}/back")
def take_back_leftover(request: Request, typed: Typed, code: str, leftover_id: int) -> Response:
    """Take a leftover back that was just written down."""

    def act(session: Session, _data: FormIn) -> str:
        undo.take_back_leftover(session, batches.by_code(session, code), leftover_id, version_of(typed))
        return f"/cast/{code}#closing"

    return submit(
        request,
        typed,
        FormIn,
        act=act,
        page=lambda s, form: session_page.page_of(request, s, code, form),
        form_id=f"leftover-back-{leftover_id}",
        notice="Undone.",
    )


@router.post("/shelf/{serial}/reweigh/{re_weigh_id}/strike")
def strike_re_weigh(request: Request, session: Book, typed: Typed, serial: str, re_weigh_id: int) -> Response:
    """Strike out a re-weigh."""

    def act(writing: Session, grain: Grain, data: VoidIn) -> None:
        undo.strike(writing, ReWeigh, re_weigh_id, grain, data, version_of(typed))

    return one_grain.act_on(request, session, typed, serial, VoidIn, act, f"reweigh-{re_weigh_id}", STRUCK)


@router.post("/shelf/{serial}/wet/back")
def hold_wet_again(request: Request, session: Book, typed: Typed, serial: str) -> Response:
    """Take back that a wet grain was accepted."""

    def act(writing: Session, grain: Grain, _data: FormIn) -> None:
        reweighs.take_back(writing, grain, version_of(typed))

    return one_grain.act_on(request, session, typed, serial, FormIn, act, "wet-back", f"{serial} is held again.")


@router.post("/shelf/{serial}/unbag")
def unbag(request: Request, session: Book, typed: Typed, serial: str) -> Response:
    """Take a bagging back."""

    def act(writing: Session, grain: Grain, _data: FormIn) -> None:
        undo.unbag(writing, grain, version_of(typed))

    return one_grain.act_on(request, session, typed, serial, FormIn, act, "unbag", f"{serial} is in no bag.")


@router.post("/shelf/{serial}/undecide")
def undecide(request: Request, session: Book, typed: Typed, serial: str) -> Response:
    """Take a decision back."""

    def act(writing: Session, grain: Grain, _data: FormIn) -> None:
        undo.undecide(writing, grain, version_of(typed))

    return one_grain.act_on(
        request, session, typed, serial, FormIn, act, "undecide", f"{serial} waits for a decision again."
    )


@router.post("/workshop/nozzles/{row_id}/measures/{measure_id}/strike")
def strike_throat(request: Request, session: Book, typed: Typed, row_id: int, measure_id: int) -> Response:
    """Strike out a measured throat."""
    repository.get(session, Nozzle, row_id, "nozzle")

    def act(writing: Session, data: VoidIn) -> str:
        nozzle = repository.get(writing, Nozzle, row_id, "nozzle")
        undo.strike(writing, NozzleMeasure, measure_id, nozzle, data, version_of(typed))
        return f"/workshop/nozzles/{row_id}#throat"

    return submit(
        request,
        typed,
        VoidIn,
        act=act,
        page=lambda s, form: NOZZLES.show(request, s, row_id, form),
        form_id=f"throat-{measure_id}",
        notice=STRUCK,
    )


@router.post("/plan/{code}/take-up")
def take_up(request: Request, session: Book, typed: Typed, code: str) -> Response:
    """Take a dropped plan up again."""
    batches.by_code(session, code)

    def act(writing: Session, _data: FormIn) -> str:
        undo.take_up_plan(writing, batches.by_code(writing, code), version_of(typed))
        return f"/plan/{code}"

    return submit(
        request,
        typed,
        FormIn,
        act=act,
        page=lambda s, form: planning.page_of(request, s, code, form),
        form_id="take-up",
        notice=f"Batch {code} is planned again.",
    )


@router.post("/firings/{firing_id}/back")
def take_back_firing(request: Request, session: Book, typed: Typed, firing_id: int) -> Response:
    """Take a firing back that was just written down."""
    fired.get(session, firing_id)

    def act(writing: Session, _data: FormIn) -> str:
        return f"/motors/{undo.take_back_firing(writing, fired.get(writing, firing_id), version_of(typed))}"

    return submit(
        request,
        typed,
        FormIn,
        act=act,
        page=lambda s, form: firings.page_of(request, s, firing_id, form),
        form_id="back",
        notice="The firing is undone; the motor is whole again.",
    )
