"""The compute API's season: from flights wanted to melts on evenings."""

from collections.abc import Iterable
from datetime import date

from app.calc.base.errors import CalcError
from app.calc.propellant import recipe
from app.calc.season.melt_loads import Pan, Pattern, most_of
from app.calc.season.obstacles import plan_what_matters
from app.calc.season.rejects import RejectBelief, rejects_in_all
from app.calc.season.season import Bench, Delivery, Lying, Season, WantedFlight
from app.models import api_season as api
from app.services.api.compute import Misfit, placed, read_blend
from app.units import say


def plan_season(data: api.SeasonPlanIn) -> api.SeasonPlanOut:
    """Plan a season's casting.

    Raises
    ------
    Misfit
        An input that cannot be, with its place in the request.
    """
    _checked(data)
    bench = Bench(
        Pan(data.pan_kg, data.over_pour, data.test_pieces_kg),
        data.tools,
        data.melts_per_evening,
        data.cure_days,
        data.tube_held_h,
        data.most_held_kg,
        data.remelt_limit,
    )
    patterns = {name: Pattern(one.mass_kg, one.formula) for name, one in data.patterns.items()}
    season = Season(
        [WantedFlight(f.name, f.count, f.grains, f.by, f.kind == "test", f.priority) for f in data.flights],
        patterns,
        bench,
        sorted(data.evenings),
        [Lying(one.pattern, one.count, one.ready) for one in data.shelf],
        {name: _believed(data, name, patterns[name], bench) for name in data.rejects},
        data.confidence,
        [Delivery(recipe.lookup(one.ingredient).key, one.kg, one.on) for one in data.deliveries],
        {name: _blend(data, name) for name in data.formulas},
        data.remelt_kg,
    )
    with placed(data):
        made = plan_what_matters(season)
    return api.SeasonPlanOut(
        feasible=made.feasible,
        why_not=say(made.why_not),
        cast={**(dict.fromkeys(season.wanted(date.max), 0) if made.feasible else {}), **made.cast},
        evenings=[
            api.PlannedEveningOut(
                date=evening.on,
                melts=[api.PlannedMeltOut(formula=melt.formula, grains=dict(melt.grains)) for melt in evening.melts],
            )
            for evening in made.evenings
        ],
        evening_count=len(made.evenings),
        melt_count=made.melt_count,
        gap=made.gap,
        stopped=list(made.stopped),
    )


def _blend(data: api.SeasonPlanIn, name: str) -> dict[str, float]:
    """A formula's blend, its faults beside its name."""
    try:
        return read_blend(data, data.formulas[name])
    except Misfit as error:
        raise Misfit(("formulas", name, *error.loc[1:]), error.message, error.kind) from error


def _believed(data: api.SeasonPlanIn, name: str, pattern: Pattern, bench: Bench) -> RejectBelief:
    rejected, cast = data.rejects[name]
    if rejected > cast:
        raise Misfit(
            ("rejects", name),
            f"{rejected} of {cast} grains cannot have been rejected. Give the rejected first, then all that were cast.",
        )
    return rejects_in_all(rejected, cast, max(most_of(pattern, bench.pan, bench.sets.get(name)), 1))


def _checked(data: api.SeasonPlanIn) -> None:
    """Names that nothing bears, days that stand twice, and more than can be counted through."""
    for i, flight in enumerate(data.flights):
        for name in flight.grains:
            if name not in data.patterns:
                raise _unknown(name, data.patterns, "flights", i, "grains", name)
    for i, one in enumerate(data.shelf):
        if one.pattern not in data.patterns:
            raise _unknown(one.pattern, data.patterns, "shelf", i, "pattern")
    for field, names in (("tools", data.tools), ("rejects", data.rejects)):
        for name in names:
            if name not in data.patterns:
                raise _unknown(name, data.patterns, field, name)
    formulas = {one.formula for one in data.patterns.values()}
    for field, of_formulas in (("formulas", set(data.formulas)), ("remelt_kg", set(data.remelt_kg))):
        for name in sorted(of_formulas):
            if name not in formulas:
                raise _unknown(name, formulas, field, name, what="formula of a pattern")
    for i, day in enumerate(data.evenings):
        if day in data.evenings[:i]:
            raise Misfit(("evenings", i), f"{day} stands twice; give more melts_per_evening if several are meant.")
    for i, delivery in enumerate(data.deliveries):
        try:
            recipe.lookup(delivery.ingredient)
        except CalcError as error:
            raise Misfit(("deliveries", i, "ingredient"), say(error.words), "blend_error") from error


def _unknown(name: str, known: Iterable[str], *loc: str | int, what: str = "pattern") -> Misfit:
    there = ", ".join(sorted(known)) or "none"
    return Misfit(loc, f"There is no {what} {name}; there are: {there}.")
