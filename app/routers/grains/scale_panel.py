"""What fills the screen while a lot is weighed: a grain, its section, its place, what comes next."""

from dataclasses import dataclass

from markupsafe import Markup
from sqlmodel import Session

from app.calc.grain.density_check import GrainCheck
from app.drawings.grain_section import grain_section
from app.drawings.lot_strip import Lot, Lots, ThisGrain, lot_strip
from app.forms import Form
from app.models import Batch, GrainPattern
from app.models.grain import DecisionIn
from app.routers.grains import grain_picture
from app.services.book import repository, workshop
from app.services.grains import flow, lots
from app.services.grains.flow import Flow
from app.services.grains.grains import GrainView
from app.web import Forms


@dataclass(frozen=True)
class Panel:
    """One grain of a lot at arm's length; without one the lot has none yet."""

    view: GrainView | None
    check: GrainCheck | None
    is_last: bool
    """Whether it is the grain that was weighed last, and not one to decide on."""
    hold: Form | None
    """The form to hold or reject it, where it can still be decided on."""
    opened: bool
    """Whether that form is open."""
    undo: Form | None
    section: Markup
    strip: Markup
    flow: Flow
    at_scale: bool
    """Whether the field for the next weight stands there; else the next act does."""


def panel_of(
    session: Session,
    batch: Batch,
    views: list[GrainView],
    checks: dict[int, GrainCheck],
    *,
    forms: Forms,
    show: int | None,
    chosen: bool,
    undo: Form | None,
) -> Panel:
    """The panel of a lot: the grain of number `show`, else the one weighed last; `chosen` is one put on the scale."""
    found = flow.of_lot(session, batch, views)
    failed = forms.failed.id if forms.failed is not None else ""
    last = max(views, key=lambda v: (v.grain.weighed_at, v.grain.pk), default=None)
    view = next((v for v in views if failed == f"hold-{v.grain.number}" or v.grain.number == show), last)
    free = view is not None and view.state not in ("in motor", "fired", "gone", "rejected") and not view.grain.bagged_at
    form = None
    if view is not None and (free or failed.startswith("hold-")):
        number = view.grain.number
        initial = {"fault": view.grain.decision_fault, "why": ""}
        address = f"/cast/{batch.code}/grains/{number}/hold"
        form = forms.get(f"hold-{number}", DecisionIn, address, row=view.grain, initial=initial)
    return Panel(
        view=view,
        check=checks[view.grain.pk] if view is not None else None,
        is_last=view is last and show is None,
        hold=form,
        opened=form is not None and (bool(form.errors) or view is not last or show is not None),
        undo=undo if view is last else None,
        section=_section(session, batch, view, checks),
        strip=_strip(session, batch, views, view, checks),
        flow=found,
        at_scale=found.act == "weigh" or chosen or failed == "next",
    )


def _section(session: Session, batch: Batch, view: GrainView | None, checks: dict[int, GrainCheck]) -> Markup:
    """The grain cut along its axis with what it lacks as one bubble; without a grain, the pattern as it is planned."""
    house = workshop.get(session)
    pattern = (
        view.pattern
        if view is not None
        else repository.get(session, GrainPattern, batch.items[0].pattern_id, "grain pattern")
    )
    sized = view.grain if view is not None else pattern
    check = checks[view.grain.pk] if view is not None else None
    return grain_section(grain_picture.cut(pattern, sized, check, house, key=False))


def _strip(
    session: Session, batch: Batch, views: list[GrainView], view: GrainView | None, checks: dict[int, GrainCheck]
) -> Markup:
    """Where the grain stands among those of its lot and of earlier lots."""
    before = lots.earlier(session, batch, named=1)
    others = [v.grain.density_share for v in views if v is not view]
    this = None
    if view is not None:
        check = checks[view.grain.pk]
        this = ThisGrain(view.grain.serial, check.share, check.share_uncertainty)
    rows = [Lot(code, shares) for code, shares in before.lots]
    limit = workshop.get(session).accept_share
    return lot_strip(Lots(Lot(batch.code, others), this, rows, before.before, limit))
