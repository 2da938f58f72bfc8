"""Pages of the checks of scales and thermometers: what each read of what was known, and how it drifts."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from fastapi import Request
from fastapi.responses import Response
from markupsafe import Markup
from sqlmodel import Session

from app.charts import Axis, Band, Panel, Series, line_chart
from app.errors import NotFound
from app.forms import Choice, Form
from app.models import ScaleCheck, ThermometerCheck
from app.models.base import Row
from app.models.batch import VoidIn
from app.models.instrument import AGAINST, ScaleCheckIn, ThermometerCheckIn
from app.page import Page
from app.routing import late_router
from app.services.book import audit_reasons, first_minute, repository, workshop
from app.services.hardware import instrument_checks
from app.services.hardware.instrument_checks import Check, Drift
from app.units import UnitSystem, convert, unit_of
from app.web import Book, Forms, Typed, named, render, submit, version_of

router = late_router("/workshop/checks")

KINDS: dict[str, tuple[type[Any], type[Any]]] = {
    "scale": (ScaleCheck, ScaleCheckIn),
    "thermometer": (ThermometerCheck, ThermometerCheckIn),
}
CHOICES: dict[str, list[Choice]] = {"against": list(AGAINST.items())}
SHOWN = 40
"""Checks of one instrument that its page lists; the chart has all of them."""


@dataclass(frozen=True)
class Instrument:
    """One instrument: its checks, how they go, and what is drawn and said of them."""

    kind: str
    name: str
    checks: list[Check]
    """The newest first, as many as are listed; struck ones too."""
    more: int
    newest: Check
    within: bool
    drift: str
    chart: Markup | None


class ChecksPage(
    Page,
    template="hardware/checks.html",
    section="workshop",
    group="At the pan",
    tabs=[(19, "/workshop/checks", "Checks")],
):
    """Every instrument that was checked, and the forms of the next checks."""

    instruments: list[Instrument]
    forms: dict[str, Form]
    names: dict[str, list[str]]
    """What scales and thermometers were called, by kind."""
    known: Callable[[Check], str]
    off: Callable[[Check], str]
    ok: Callable[[Check], bool]
    fresh: Callable[[Row], bool]
    at_once: str


@router.get("")
def show_all(request: Request, session: Book) -> Response:
    """Every instrument, and the forms of the next checks."""
    return _page(request, session)


@router.post("/{kind}")
def check(request: Request, typed: Typed, kind: str) -> Response:
    """Keep a check."""
    _, model = _kind(kind)
    keep = instrument_checks.check_scale if kind == "scale" else instrument_checks.check_thermometer

    def act(session: Session, data: Any) -> str:
        keep(session, data, named(request, session) or audit_reasons.who(session))
        return "/workshop/checks"

    return submit(
        request,
        typed,
        model,
        act=act,
        page=lambda s, form: _page(request, s, form),
        form_id=kind,
        notice="The check is kept.",
        choices=CHOICES,
    )


@router.post("/{kind}/{check_id}/strike")
def strike(request: Request, typed: Typed, kind: str, check_id: int) -> Response:
    """Strike out a check that was misread."""
    table, _ = _kind(kind)

    def act(session: Session, data: VoidIn) -> str:
        row = repository.get(session, table, check_id, "check")
        first_minute.strike(session, row, data, version_of(typed))
        return "/workshop/checks"

    return submit(
        request,
        typed,
        VoidIn,
        act=act,
        page=lambda s, form: _page(request, s, form),
        form_id=f"strike-{kind}-{check_id}",
        notice="Struck out; it stays readable with the reason.",
    )


def _kind(kind: str) -> tuple[type[Any], type[Any]]:
    if kind not in KINDS:
        raise NotFound("There are checks of scales and of thermometers.")
    return KINDS[kind]


def _page(request: Request, session: Session, failed: Form | None = None) -> Response:
    forms, units = Forms(request, session, failed), workshop.get(session).units
    shown: dict[str, Form] = {}
    instruments: list[Instrument] = []
    names: dict[str, list[str]] = {}
    for kind, (table, model) in KINDS.items():
        url = f"/workshop/checks/{kind}"
        first = instrument_checks.first_texts(session, table)
        shown[kind] = forms.get(kind, model, url, initial=first, choices=CHOICES)
        rows = instrument_checks.of_kind(session, table)
        found = instrument_checks.by_instrument(rows)
        names[kind] = list(found)
        for name, checks in found.items():
            one = _instrument(
                kind, name, checks, [r for r in rows if r.instrument.casefold() == name.casefold()], units
            )
            instruments.append(one)
            for row in one.checks:
                if row.voided_at is None:
                    key = f"strike-{kind}-{row.pk}"
                    shown[key] = forms.get(key, VoidIn, f"{url}/{row.pk}/strike", row=row)
    page = ChecksPage(
        instruments=instruments,
        forms=shown,
        names=names,
        known=lambda row: instrument_checks.known(row, units),
        off=lambda row: instrument_checks.off_words(row, units),
        ok=instrument_checks.within,
        fresh=first_minute.fresh,
        at_once=first_minute.AT_ONCE,
    )
    return render(request, session, page)


def _instrument(kind: str, name: str, counts: list[Check], every: list[Check], units: UnitSystem) -> Instrument:
    drift, measure = instrument_checks.drift(counts), "mass" if kind == "scale" else "temperature_step"
    return Instrument(
        kind=kind,
        name=name,
        checks=every[::-1][:SHOWN],
        more=max(len(every) - SHOWN, 0),
        newest=counts[-1],
        within=instrument_checks.within(counts[-1]),
        drift=_in_words(drift, counts[-1], units),
        chart=_chart(name, drift, measure, instrument_checks.tolerance(counts[-1]), units),
    )


def _in_words(drift: Drift, row: Check, units: UnitSystem) -> str:
    if drift.range is None:
        return "A drift shows from three checks on."
    low, moved, high = (
        f"{'+' if v > 0 else '−'}{instrument_checks.fine(abs(v), row, units, 1)}"
        for v in (drift.range[0], drift.per_month, drift.range[1])
    )
    shows = "It drifts" if drift.certain else "No drift shows"
    return f"{shows}: {moved} in 30 days; 95 in 100 between {low} and {high}."


def _chart(name: str, drift: Drift, measure: str, tolerance: float, units: UnitSystem) -> Markup | None:
    """How far off it was over the days, with the band it may be in and the line through the checks."""
    if len(drift.days) < 2:
        return None

    def here(values: list[float]) -> list[float]:
        return [convert(v, measure, units) for v in values]

    across = [0.0, max(drift.days[-1], 1.0)]
    series = [Series("Off by", drift.days, here(drift.offs))]
    if drift.range is not None:
        series.append(Series("Trend", across, here([drift.at(day) for day in across]), "dashed"))
    return line_chart(
        f"How far off {name} was",
        Axis("Time since the first check", "d"),
        Panel(
            Axis("Off by", unit_of(measure, units)),
            series=series,
            band=Band("May be off by", across, here([-tolerance] * 2), here([tolerance] * 2)),
        ),
    )
