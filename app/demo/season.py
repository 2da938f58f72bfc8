"""The demonstration's season, half done: what is wanted, the motors that were chosen, and the evenings there are."""

from datetime import date, timedelta
from typing import Any

from app import clock
from app.demo.maker import Maker, Told
from app.models import Case, CastingTube, Formula, GrainPattern, LaunchField, Nozzle, Rocket, Season
from app.models.buying import ConsumableIn, DeliveryIn, PackSizeIn
from app.models.season import SeasonDayIn, SeasonIn, TestWishIn, WishIn
from app.models.season_choice import DrillIn
from app.services.hardware import drills, inventory
from app.services.season import casting, expected, kept_choices, seasons, wishes
from app.services.stock import consumables, deliveries, sizes, things


def begin(maker: Maker, story: Told) -> None:
    """The season with its list, and a motor for each line that the story names one for."""
    begins = clock.local(maker.start).date() - timedelta(days=story["began_days_ago"])
    season = seasons.save(
        maker.session, maker.form(SeasonIn, story, begins_on=begins, ends_on=_day(maker, story["ends_ahead"]))
    )
    for told in story["day_off"]:
        first, last = (_day(maker, told[name]) for name in ("from_ahead", "to_ahead"))
        seasons.add_day(maker.session, season, maker.form(SeasonDayIn, told, kind="off", first_on=first, last_on=last))
    for told in story["wish"]:
        _wish(maker, season, told)


def stock(maker: Maker, story: Told) -> None:
    """Drills, what is used up besides, the sizes that things are sold in, and what is on its way."""
    session = maker.session
    for told in story["drill"]:
        drills.save_drill(session, maker.form(DrillIn, told))
    for told in story["consumable"]:
        tube = maker.named(CastingTube, told["tube"]) if "tube" in told else None
        case = maker.named(Case, told["case"]) if "case" in told else None
        consumables.save(session, maker.form(ConsumableIn, told, casting_tube_id=tube, case_id=case))
    keys = {name.lower(): key for key, name in things.choices(session)}
    for told in story["size"]:
        sizes.save(session, maker.form(PackSizeIn, told, thing=keys[told["thing"].lower()], sold=True))
    for told in story["delivery"]:
        due = _day(maker, told["due_ahead"])
        deliveries.save(session, maker.form(DeliveryIn, told, thing=keys[told["thing"].lower()], due_on=due))


def plan(maker: Maker) -> None:
    """The season's evenings, worked out as the book stands on the last day."""
    season = seasons.current(maker.session)
    assert season is not None
    casting.keep(maker.session, season, casting.work_out(maker.session, season))


def _day(maker: Maker, ahead: int) -> date:
    return clock.local(maker.start).date() + timedelta(days=ahead)


def _wish(maker: Maker, season: Season, told: Told) -> None:
    session, by = maker.session, _day(maker, told["by_ahead"])
    motor = told.get("motor")
    formula = maker.named(Formula, motor["formula"]) if motor else None
    case = maker.named(Case, motor["case"]) if motor else None
    if "rocket" in told:
        ids = {
            "rocket_id": maker.named(Rocket, told["rocket"]),
            "launch_field_id": maker.named(LaunchField, told["field"]),
        }
        wish = wishes.save_flight(session, season, maker.form(WishIn, told, by_on=by, **ids))
    else:
        wish = wishes.save_test(
            session, season, maker.form(TestWishIn, told, by_on=by, formula_id=formula, case_id=case)
        )
    if motor is None or formula is None or case is None:
        return
    nozzle = session.get_one(Nozzle, maker.named(Nozzle, motor["nozzle"]))
    design: dict[str, Any] = {
        "case_id": case,
        "nozzle_id": nozzle.pk,
        "throat_d_m": inventory.throat_now(session, nozzle),
        "formula_id": formula,
        "grains": [(maker.named(GrainPattern, name), count) for name, count in motor["grains"].items()],
    }
    figures = expected.of_motor(session, wish, **design)
    kept_choices.choose(session, wish, **design, figures=figures.as_json(), why=motor["why"])
