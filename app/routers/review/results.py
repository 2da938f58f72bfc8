"""The review of what motors delivered: grouped, over time, beside what is known of them, and as files."""

from dataclasses import dataclass
from typing import Generic, Literal, TypeVar
from urllib.parse import urlencode

from fastapi import Request
from fastapi.responses import Response, StreamingResponse
from markupsafe import Markup
from pydantic import Field as FormField
from sqlmodel import Session

from app import clock, tables
from app.charts import Axis, Rule
from app.drawings.row_plots import Level, mean_row, scale_head, span_of
from app.drawings.two_sides import Side, two_sides, two_sides_head
from app.errors import Refused
from app.forms import Form, from_texts
from app.page import Page
from app.point_charts import Point, individuals_chart
from app.routing import late_router
from app.scatters import Fired, Legend, Multiple, multiples
from app.services.book import workshop
from app.services.grains.lots import Control
from app.services.hardware import inventory
from app.services.review import burned_motors, correlations, delivered, exports, failures, good_against_bad, lots_review
from app.services.review.burned_motors import Burn, LookIn
from app.services.review.correlations import PropertyAssociation
from app.services.review.delivered import Group
from app.services.review.exports import Table
from app.services.review.failures import Failures
from app.services.review.good_against_bad import Contrast
from app.services.review.lots_review import ReviewIn
from app.units import UnitSystem
from app.web import Book, choose, render

router = late_router("/review")

ROWS = 50
"""Groups in the table of groups; the file has them all."""

BEHIND = 20
"""Motors of each side in the table behind a sentence; the file has them all."""

AS_PREDICTED = Level(1.0, "centre")

FEW = 3
"""Motors below which no chart is drawn."""


class DeliveredIn(LookIn):
    """Which motors to look at, how they are grouped, and which group is looked at over time."""

    by: Literal["formula", "pattern", "case", "lot"] = FormField("formula", title="Grouped by")
    of: str | None = FormField(None, max_length=200, title="Over time")


FILTERS = ("formula", "pattern_id", "case_id", "since", "until")

L = TypeVar("L", bound=LookIn | ReviewIn)


@dataclass(frozen=True)
class Chosen(Generic[L]):
    """The filter as the address has it: its form, and what it asks for where that makes sense."""

    form: Form
    wanted: L | None

    @property
    def filtered(self) -> bool:
        """Whether anything is left out."""
        return bool(_kept(self.form, *FILTERS))

    @property
    def query(self) -> str:
        """The filter as the query of an address."""
        return urlencode(_kept(self.form, *FILTERS))

    @property
    def status(self) -> int:
        """The status of its page."""
        return 200 if self.wanted else 422


def _chosen(request: Request, session: Session, model: type[L], address: str) -> Chosen[L]:
    patterns = inventory.patterns(session) + inventory.patterns(session, True)
    form = from_texts(
        model,
        request.query_params.multi_items(),
        "look",
        address,
        {
            "formula": [(name, name) for name in lots_review.formula_names(session)],
            "pattern_id": choose(patterns),
            "case_id": burned_motors.cases(session),
            "by": list(delivered.BY.items()),
            "result": lots_review.RESULT_CHOICES,
        },
    )
    checked = form.check(workshop.get(session).units)
    return Chosen(form, checked if isinstance(checked, model) else None)


def _kept(form: Form, *names: str) -> list[tuple[str, str]]:
    """What stands in the filter, as parts of an address."""
    return [(name, form.text(name)) for name in names if form.text(name)]


# --- Delivered over predicted ------------------------------------------------------------------


class DeliveredPage(
    Page, template="review/delivered.html", section="review", tabs=[(2, "/review/delivered", "Delivered")]
):
    """What motors delivered of what was predicted, group by group, and one group over time."""

    chosen: Chosen[DeliveredIn]
    burns: list[Burn]
    groups: list[Group]
    every: int
    """How many groups there are; the table has the first of them."""
    by: str
    noun: str
    of: str | None
    whole: str
    """The address of all groups together."""
    links: dict[str, str]
    scale: Markup
    cells: dict[str, Markup]
    """What each group's motors delivered of the impulse, drawn."""
    comparison: delivered.Comparison
    answer: str
    ways: list[tuple[str, str]]
    """Address and name of each way of grouping."""
    compared: int
    inside: list[Burn]
    """Motors of the group that is looked at over time."""
    measured: int
    control: Control | None
    control_charts: list[Markup]


@router.get("/delivered")
def show_delivered(request: Request, session: Book) -> Response:
    """What motors delivered of what was predicted, by formula, pattern, case or lot, and over time."""
    chosen = _chosen(request, session, DeliveredIn, "/review/delivered")
    asked = chosen.wanted or DeliveredIn()
    found = burned_motors.burned(session, asked)
    every = delivered.groups(found, asked.by)
    inside = [burn for burn in found if not asked.of or asked.of in delivered.names(burn, asked.by)]
    control = delivered.over_time(inside)
    comparison, (scale, cells) = delivered.compare(every), _group_cells(every[:ROWS])
    kept = [*_kept(chosen.form, *FILTERS), ("by", asked.by)]
    page = DeliveredPage(
        chosen=chosen,
        burns=found,
        groups=every[:ROWS],
        every=len(every),
        by=asked.by,
        noun=delivered.BY[asked.by].lower(),
        of=asked.of,
        inside=inside,
        measured=sum(burn.impulse.ratio is not None for burn in inside),
        comparison=comparison,
        answer=delivered.answer(comparison, delivered.BY[asked.by].lower()),
        ways=[
            ("/review/delivered?" + urlencode([*_kept(chosen.form, *FILTERS), ("by", by)]), words.lower())
            for by, words in delivered.BY.items()
        ],
        compared=delivered.COMPARED,
        scale=scale,
        cells=cells,
        control=control,
        control_charts=_control_charts(control, asked.of or "all these motors"),
        links={group.name: "/review/delivered?" + urlencode([*kept, ("of", group.name)]) for group in every[:ROWS]},
        whole="/review/delivered?" + urlencode(kept),
    )
    return render(request, session, page, chosen.status)


def _group_cells(groups: list[Group]) -> tuple[Markup, dict[str, Markup]]:
    """What each group's motors delivered, all on one scale: the head of the column, and each group's cell."""
    ratios = {g.name: [r for burn in g.burns if (r := burn.impulse.ratio) is not None] for g in groups}
    means = [g.impulse.spread.mean for g in groups if g.impulse]
    span = span_of([r for found in ratios.values() for r in found], keep=[*means, 1.0], least=0.1)
    cells = {}
    for group in groups:
        known, n = group.impulse, len(ratios[group.name])
        words = f"{group.name}: {n} measured" if n else f"{group.name}: nothing measured"
        words += f", mean {known.spread.mean:.2f} of what was predicted" if known else ""
        ends = (known.interval.low, known.interval.high) if known and known.interval else None
        mean = known.spread.mean if known else None
        cells[group.name] = mean_row(span, ratios[group.name], mean, ends, words, [AS_PREDICTED])
    return scale_head(span), cells


def _control_charts(found: Control | None, of: str) -> list[Markup]:
    """Single values and their running average, with limits where there are enough of them."""
    if found is None or len(found.values) < FEW:
        return []
    axis = Axis("Measured over predicted impulse", decimals=3)
    limits, average = found.limits, found.average
    single = individuals_chart(
        f"One by one: {of}",
        axis,
        [Point(code, value) for code, value in found.values],
        centre=found.centre,
        lower=limits.lower if limits else None,
        upper=limits.upper if limits else None,
    )
    if average is None:
        return [single]
    points = [Point(code, value) for (code, _), value in zip(found.values, average.values[1:], strict=True)]
    running = individuals_chart(
        f"Running average (EWMA): {of}", axis, points, centre=found.centre, lower=average.lower, upper=average.upper
    )
    return [single, running]


# --- What goes together ------------------------------------------------------------------------


class CorrelationsPage(
    Page, template="review/correlations.html", section="review", tabs=[(3, "/review/together", "What goes together")]
):
    """Properties of motors beside what they delivered, each with its cloud."""

    chosen: Chosen[LookIn]
    burns: list[Burn]
    seen: list[PropertyAssociation]
    answer: str
    chart: Markup | None
    judged: int
    enough: int
    lots: int


@router.get("/together")
def show_together(request: Request, session: Book) -> Response:
    """Properties of motors beside what they delivered of the predicted impulse."""
    chosen = _chosen(request, session, LookIn, "/review/together")
    found = burned_motors.burned(session, chosen.wanted or LookIn())
    seen, units = correlations.associations(found), workshop.get(session).units
    page = CorrelationsPage(
        chosen=chosen,
        burns=found,
        seen=seen,
        answer=correlations.answer(seen),
        chart=_clouds(seen, units),
        judged=sum(s.measure is not None for s in seen),
        enough=correlations.ENOUGH_PAIRS,
        lots=correlations.ENOUGH_LOTS,
    )
    return render(request, session, page, chosen.status)


def _clouds(seen: list[PropertyAssociation], units: UnitSystem) -> Markup | None:
    """Every property of which enough is known beside what was delivered, on one upright axis."""
    drawn = [s for s in seen if len(s.burns) >= FEW]
    if not drawn:
        return None
    return multiples(
        "Properties of motors beside what they delivered",
        Axis("Measured over predicted impulse", decimals=2),
        Legend("burned well", "did not", rules=[Rule("as predicted", 1.0, limit=False)]),
        [_cloud(s, units) for s in drawn],
    )


def _cloud(seen: PropertyAssociation, units: UnitSystem) -> Multiple:
    what = seen.what
    marks = zip(seen.burns, what.numbers(seen.x, units), seen.y, strict=True)
    return Multiple(
        f"about-{what.key}",
        what.label,
        Axis(what.label, what.unit(units), decimals=what.decimals + 1),
        [Fired(burn.motor_code, x, y, apart=burn.good is not True) for burn, x, y in marks],
        seen.words,
        seen.note,
        seen.significant,
    )


# --- Good against bad ----------------------------------------------------------------------------


@dataclass(frozen=True)
class DrawnContrast:
    """A property on both sides, drawn on the axis that all share; nothing is drawn where there is no scatter."""

    contrast: Contrast
    picture: Markup | None


class GoodAgainstBadPage(
    Page,
    template="review/good_against_bad.html",
    section="review",
    tabs=[(4, "/review/good", "What the good ones share")],
):
    """Motors that burned well beside those that did not, and what was found of failures."""

    chosen: Chosen[LookIn]
    shared: good_against_bad.Comparison
    drawn: list[DrawnContrast]
    head: Markup
    behind: list[tuple[str, list[Burn]]]
    """The motors of each side that were fired last, newest first."""
    least: int
    rows: int
    failures: Failures


@router.get("/good")
def show_good(request: Request, session: Book) -> Response:
    """Motors that burned well beside those that did not."""
    chosen = _chosen(request, session, LookIn, "/review/good")
    found = burned_motors.burned(session, chosen.wanted or LookIn())
    shared = good_against_bad.compare(found)
    page = GoodAgainstBadPage(
        chosen=chosen,
        shared=shared,
        drawn=[DrawnContrast(one, _contrast(one)) for one in shared.contrasts],
        head=two_sides_head(),
        behind=[("Burned well", shared.good[: -BEHIND - 1 : -1]), ("Did not", shared.other[: -BEHIND - 1 : -1])],
        least=good_against_bad.LEAST,
        rows=BEHIND,
        failures=failures.found(session, found),
    )
    return render(request, session, page, chosen.status)


def _contrast(one: Contrast) -> Markup | None:
    """A property's motors on both sides, counted in their usual scatter from the middle of all."""
    if one.scale is None:
        return None
    middle, scatter = one.scale

    def side(of: good_against_bad.Side) -> Side:
        marks, known = [(value - middle) / scatter for value in of.values], of.interval
        if known is None:
            return Side(marks)
        return Side(marks, *((value - middle) / scatter for value in (known.mean, known.low, known.high)))

    counted = f"{len(one.good.values)} motors that burned well above {len(one.other.values)} that did not"
    said = f"the good ones {one.words}" if one.significant else "no difference can be told"
    return two_sides(side(one.good), side(one.other), f"{one.what.label}, {counted}: {said}")


# --- Tables to take along ----------------------------------------------------------------------


def _csv(name: str, table: Table) -> Response:
    headers = {"Content-Disposition": f'attachment; filename="grainbook-{name}-{clock.today():%Y-%m-%d}.csv"'}
    return StreamingResponse(tables.as_csv(table.heads, table.rows), media_type=tables.MEDIA_TYPE, headers=headers)


def _asked(request: Request, session: Session, model: type[L], address: str) -> L:
    chosen = _chosen(request, session, model, address)
    if chosen.wanted is None:
        faults = " ".join(f"{label}: {fault}" for _, label, fault in chosen.form.faults)
        raise Refused(f"The address of this table asks for something that cannot be. {faults}")
    return chosen.wanted


@router.get("/firings.csv")
def firings_csv(request: Request, session: Book) -> Response:
    """Every motor that burned and meets the filter."""
    return _csv("firings", exports.firings(session, _asked(request, session, LookIn, "/review/together")))


@router.get("/lots.csv")
def lots_csv(request: Request, session: Book) -> Response:
    """Every lot that meets the filter."""
    return _csv("lots", exports.lots(session, _asked(request, session, ReviewIn, "/review")))


@router.get("/grains.csv")
def grains_csv(request: Request, session: Book) -> Response:
    """Every grain of the lots that meet the filter."""
    return _csv("grains", exports.grains_of_lots(session, _asked(request, session, ReviewIn, "/review")))
