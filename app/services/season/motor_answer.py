"""What a search for motors came to, as it is kept: plain JSON, read again as what a page shows."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from app.calc.base.notes import Amount, Note
from app.calc.season.choosing import RULE, Choices, Standing
from app.calc.season.nothing_possible import why_not
from app.calc.season.ranged import Ranged
from app.calc.season.refusals import Refusal, refusals
from app.calc.season.screening import KINDS, Fault
from app.services.season import figures
from app.services.season.figures import Figures
from app.services.season.motor_search import Search

SHOWN = 50
"""Possible motors that are kept with all their figures."""

DRAWN = 400
"""Designs drawn besides them at most, evenly picked: more would be a cloud."""

NEAR = 8
"""Refused designs that are kept with their reasons."""

POINTS = 60
"""Of a kept curve."""


@dataclass(frozen=True)
class Chosen:
    """A possible motor: the rows it is made of, its figures, and curves over time with the range of nine in ten."""

    case_id: int
    nozzle_id: int
    drill_id: int | None
    throat_d_m: float
    drilled_m: float
    formula_id: int
    grains: list[tuple[int, int]]
    figures: Figures
    peak_pa: float
    limit_pa: float
    burn_s: float
    coast_s: float | None
    delay_s: float | None
    above_ceiling: float | None
    outside_field: float | None
    wind_limit_m_s: float | None
    propellant_kg: float
    time_s: list[float]
    pressure_pa: list[float]
    thrust_n: list[float]
    band_time_s: list[float]
    pressure_low_pa: list[float]
    pressure_high_pa: list[float]
    thrust_low_n: list[float]
    thrust_high_n: list[float]
    throats: list[tuple[float, float, float]]
    """The same motor at each throat of its nozzle, as it is and drilled: throat [m], peak over limit, height [m]."""


@dataclass(frozen=True)
class Dot:
    """A design in the picture: peak over limit [-], height [m], and what speaks against it, '' where nothing does."""

    share: float
    height_m: float
    kind: str
    ranged: bool


@dataclass(frozen=True)
class Against:
    """A reason, how many designs it stands before, and of the one nearest to the wish, if there is one that it alone
    stands before: what it is, and what helps.
    """

    kind: str
    count: int
    words: str
    example: Note
    change: Note | None
    also: list[str]
    """What else speaks against that one, which this change does not lift."""


@dataclass(frozen=True)
class Refused:
    """A refused design and each of its reasons, with what would lift that one."""

    words: str
    height_m: float | None
    reasons: list[tuple[Note, Note | None]]


@dataclass(frozen=True)
class MotorAnswer:
    """What a search came to."""

    tried: int
    possible: int
    refused: int
    not_ranged: int
    not_seen: int
    stopped: bool
    best: list[Chosen]
    dots: list[Dot]
    against: list[Against]
    near: list[Refused]
    """The refused ones that lie nearest to the wish."""
    why_not: Note | None
    left_out: list[Note]
    rule: str
    samples: int
    flights: int
    assumptions: list[Note]


def answer(found: Choices, search: Search) -> dict[str, Any]:
    """A search as plain JSON."""
    counts = found.counts()
    why, first = why_not(found), next((found.ranged[i] for i in found.best), None)
    assumed: list[Note | str] = []
    if first is not None:
        assumed = [
            *first.run.assumptions,
            *first.range.assumptions,
            *(first.flights.assumptions if first.flights else ()),
        ]
    return {
        "tried": len(found.designs),
        "possible": counts[Standing.POSSIBLE],
        "refused": counts[Standing.SCREENED] + counts[Standing.REFUSED] + counts[Standing.REFUSED_IN_RANGE],
        "not_ranged": counts[Standing.NOT_RANGED],
        "not_seen": counts[Standing.NOT_SEEN],
        "stopped": found.stopped,
        "best": [_chosen(found, search, found.ranged[i]) for i in found.best[:SHOWN]],
        "dots": _dots(found),
        "against": _against(found, search),
        "near": _near(found, search),
        "why_not": None if why is None else _told(why),
        "left_out": [_told(one) for one in (*found.designs.left_out, *search.left_out)],
        "rule": RULE,
        "samples": found.effort.samples,
        "flights": found.effort.flights,
        "assumptions": [_told(one) for one in assumed],
    }


def read(kept: Mapping[str, Any]) -> MotorAnswer:
    """What was kept."""
    best = []
    for one in kept["best"]:
        grains = [(int(pattern), int(count)) for pattern, count in one["grains"]]
        throats = [(float(throat), float(share), float(height)) for throat, share, height in one["throats"]]
        best.append(Chosen(**{**one, "figures": figures.read(one["figures"]), "grains": grains, "throats": throats}))
    return MotorAnswer(
        **{
            **kept,
            "best": best,
            "dots": [Dot(*dot) for dot in kept["dots"]],
            "against": [
                Against(
                    one["kind"],
                    one["count"],
                    one["words"],
                    _note(one["example"]),
                    None if one["change"] is None else _note(one["change"]),
                    one["also"],
                )
                for one in kept["against"]
            ],
            "near": [
                Refused(
                    one["words"],
                    one["height_m"],
                    [(_note(said), None if change is None else _note(change)) for said, change in one["reasons"]],
                )
                for one in kept["near"]
            ],
            "why_not": None if kept["why_not"] is None else _note(kept["why_not"]),
            "left_out": [_note(one) for one in kept["left_out"]],
            "assumptions": [_note(one) for one in kept["assumptions"]],
        }
    )


def _told(note: Note | str) -> dict[str, Any]:
    if isinstance(note, str):
        note = Note(note.replace("{", "{{").replace("}", "}}"))
    return {"words": note.words, "amounts": {name: list(amount) for name, amount in note.amounts.items()}}


def _note(kept: Mapping[str, Any]) -> Note:
    return Note(kept["words"], {name: Amount(*amount) for name, amount in kept["amounts"].items()})


def _chosen(found: Choices, search: Search, one: Ranged) -> dict[str, Any]:
    designs, index = found.designs, one.index
    case = search.hardware.cases[designs.case[index]]
    throat = float(designs.throat_d[index])
    run, band = one.run, one.range.band
    kept = np.unique([*np.linspace(0, run.time.size - 1, POINTS).astype(int).tolist(), int(run.pressure.argmax())])
    made = Chosen(
        case_id=search.case_ids[designs.case[index]],
        nozzle_id=search.nozzle_ids[designs.nozzle[index]],
        drill_id=search.drill_ids.get(throat) if designs.drilled[index] > 0 else None,
        throat_d_m=throat,
        drilled_m=float(designs.drilled[index]),
        formula_id=search.formula_ids[designs.formula[index]],
        grains=[(search.pattern_ids[p], count) for p, count in designs.stacks[designs.stack[index]].parts],
        figures=_figures(one, case.limit, search, search.hardware.formulas[designs.formula[index]].fired),
        peak_pa=run.peak_pressure,
        limit_pa=case.limit,
        burn_s=run.burn_time,
        coast_s=one.flight.coast_time if one.flight else None,
        delay_s=one.delay,
        above_ceiling=one.flights.above_ceiling if one.flights else None,
        outside_field=one.flights.outside_field if one.flights else None,
        wind_limit_m_s=one.rail.keep_below if one.rail else None,
        propellant_kg=run.propellant_mass,
        time_s=_short(run.time[kept]),
        pressure_pa=_short(run.pressure[kept]),
        thrust_n=_short(run.thrust[kept]),
        band_time_s=_short(band.time[::2]),
        pressure_low_pa=_short(band.pressure_low[::2]),
        pressure_high_pa=_short(band.pressure_high[::2]),
        thrust_low_n=_short(band.thrust_low[::2]),
        thrust_high_n=_short(band.thrust_high[::2]),
        throats=_throats(found, index, case.limit),
    )
    return asdict(made)


def _throats(found: Choices, index: int, limit: float) -> list[tuple[float, float, float]]:
    """One motor's peak over its limit and its height at each throat that its nozzle can have, as expected."""
    d, e = found.designs, found.expected
    same = np.isfinite(e.peak_pressure) & np.isfinite(e.apogee) & (e.apogee > 0)
    for column in (d.case, d.nozzle, d.formula, d.stack):
        same &= column == column[index]
    rows = np.flatnonzero(same)[np.argsort(d.throat_d[same])]
    columns = (_short(d.throat_d[rows]), _short(e.peak_pressure[rows] / limit), _short(e.apogee[rows]))
    return list(zip(*columns, strict=True))


def _figures(one: Ranged, limit: float, search: Search, fired: int) -> Figures:
    drawn, flown = one.range, one.flights
    peak, impulse = drawn.peak_pressure, drawn.total_impulse
    height = speed = None
    if one.flight is not None and flown is not None:
        height = (flown.highest.low, one.flight.highest, flown.highest.high)
        speed = (flown.rail_exit_speed.low, one.flight.rail_exit_speed, flown.rail_exit_speed.high)
    return Figures(
        peak_share=(peak.low / limit, one.run.peak_pressure / limit, peak.high / limit),
        impulse_ns=(impulse.low, one.run.total_impulse, impulse.high),
        height_m=height,
        exit_m_s=speed,
        tested=fired,
        wind_m_s=search.launch.blows if search.launch else None,
        delays_s=(search.launch.delays or ()) if search.launch else (),
    )


def _short(values: Any) -> list[float]:
    return [float(f"{value:.5g}") for value in values]


def _gravest(fault: Fault) -> str:
    return next((words for one, words in KINDS.items() if one in fault), "")


def _dots(found: Choices) -> list[list[Any]]:
    """Designs to draw that are not possible: those that fly, evenly picked of each kind."""
    e, designs = found.expected, found.designs
    best = set(found.best)
    flown = [int(i) for i in np.flatnonzero(np.isfinite(e.apogee) & (e.apogee > 0)) if int(i) not in best]
    picked = [flown[k] for k in np.unique(np.linspace(0, len(flown) - 1, min(DRAWN, len(flown))).astype(int))]
    limit = designs.tables.limit[designs.case] if len(designs) else np.zeros(0)
    return [
        [
            float(f"{e.peak_pressure[i] / limit[i]:.4g}"),
            float(f"{e.apogee[i]:.4g}"),
            _gravest(found.faults(i)),
            i in found.ranged,
        ]
        for i in picked
    ]


def _against(found: Choices, search: Search) -> list[dict[str, Any]]:
    """Each reason with the design nearest to the wish that it stands before."""
    every = [found.faults(i) for i in range(len(found.designs))]
    rows: list[dict[str, Any]] = []
    for fault, kind in KINDS.items():
        count = sum(fault in one for one in every)
        if not count:
            continue
        alone = (int(i) for i in found.order if fault == every[int(i)])
        nearest = next(alone, None) or next(int(i) for i in found.order if fault in every[int(i)])
        told = refusals(found, nearest)
        said = next(one for one in told if one.kind == kind)
        also = [one.kind for one in told if one is not said]
        rows.append(
            {"kind": kind, "count": count, "words": _words(found, search, nearest), "also": also, **_refusal(said)}
        )
    return sorted(rows, key=lambda row: -int(row["count"]))


def _near(found: Choices, search: Search) -> list[dict[str, Any]]:
    """Refused designs by the rule, those that were marched and fly; of the same grains in a case one."""
    e, d = found.expected, found.designs
    rows: list[dict[str, Any]] = []
    seen: set[tuple[int, int, int]] = set()
    for index in map(int, found.order):
        key = int(d.case[index]), int(d.stack[index]), int(d.formula[index])
        if len(rows) == NEAR or key in seen or not found.faults(index) or not np.isfinite(e.peak_pressure[index]):
            continue
        seen.add(key)
        told = [(_told(one.words), None if one.change is None else _told(one.change)) for one in refusals(found, index)]
        height = float(e.apogee[index])
        rows.append(
            {
                "words": _words(found, search, index),
                "height_m": height if np.isfinite(height) else None,
                "reasons": told,
            }
        )
    return rows


def _refusal(said: Refusal) -> dict[str, Any]:
    return {"example": _told(said.words), "change": None if said.change is None else _told(said.change)}


def _words(found: Choices, search: Search, index: int) -> str:
    designs, house = found.designs, search.hardware
    stack = designs.stacks[designs.stack[index]].words(house.patterns)
    formula = house.formulas[designs.formula[index]].name
    return (
        f"{stack} of {formula} in {house.cases[designs.case[index]].name}, {house.nozzles[designs.nozzle[index]].name}"
    )
