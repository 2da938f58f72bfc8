"""What was cast over two winters, an evening of one melt each, and how its grains were kept."""

from datetime import timedelta

from app import clock
from app.calc.propellant.recipe import theoretical_density
from app.demo.maker import Maker, Told
from app.models import Batch, CastingTube, Checklist, Formula, Grain, GrainPattern
from app.models.bag import KeepIn, ReWeighIn, WetIn
from app.models.batch import AirIn, LeftoverIn, PlanIn, TestPiecesIn, WeighOutIn
from app.models.cast import CloseIn, OpenSessionIn, StepIn, TemperatureIn
from app.models.checklist import SignIn
from app.models.grain import DecisionIn, GrainIn
from app.models.test_piece import TestPieceIn
from app.services.book import workshop
from app.services.cast import air, blanks, casting, checklists, leftovers, pan, planning, steps, weigh_outs
from app.services.grains import decisions, grains, reweighs, shelf, test_pieces
from app.services.hardware import shapes
from app.services.stock import batches, supplies

MINUTES_PER_STEP = {"pour": 6, "core": 3, "compact:1": 15, "compact:2": 10, "compact:3": 10, "pull": 52, "bag": 260}


def plan(maker: Maker, told: Told) -> Batch:
    """Plan a melt as the story has it."""
    shop = workshop.get(maker.session)
    left = batches.leftovers(maker.session)
    remelts = [{"leftover_id": left[0][0].pk, "mass": told["remelt"]}] if "remelt" in told else []
    items = [{"pattern_id": maker.named(GrainPattern, n), "count": c} for n, c in told["items"].items()]
    plan = PlanIn.model_validate(
        {
            "formula_id": maker.named(Formula, told["formula"]),
            "planned_for": clock.today() + timedelta(days=told.get("days_ahead", 0)),
            "items": items,
            "remelts": remelts,
            "expected_density": f"{shop.expected_density_share * 100:.6g} %",
            "over_pour": f"{shop.over_pour_share * 100:.6g} %",
            "test_pieces": f"{shop.test_pieces_kg * 1000:.6g} g",
            "note": told.get("note", ""),
        }
    )
    return planning.plan(maker.session, plan)


def open_by_list(maker: Maker, batch: Batch) -> None:
    """Go through the whole list, sign it and open an evening by it."""
    checklist = checklists.start(maker.session, batch)
    sign(maker, checklist)
    casting.open_session(maker.session, batch, OpenSessionIn(checklist_id=checklist.pk))


def sign(maker: Maker, checklist: Checklist) -> None:
    """Answer each line of a list, whole or short, with what the story sees, and sign it."""
    for line in checklists.lines(maker.session, checklist):
        checklists.answer(maker.session, checklist, line.item.pk, blanks.filled(line.item.words, maker.seen))
    checklists.sign(maker.session, checklist, SignIn(person=maker.person, place="Barn"))


def weigh_out(maker: Maker, batch: Batch) -> None:
    """Each bowl to its target, from the bag that holds enough."""
    for part in list(batch.parts):
        bag = None
        if part.ingredient is not None:
            held = supplies.remaining(maker.session)
            bags = supplies.bags(maker.session, part.ingredient)
            bag = next(b.pk for b in bags if held[b.pk] > part.target_kg)
        weighed = WeighOutIn.model_validate({"supply_id": bag, "mass": f"{part.target_kg * 1000:.1f} g"})
        weigh_outs.weigh_out(maker.session, batch, part.pk, weighed, maker.person)


def _steps(maker: Maker, batch: Batch, until: str, readings: list[str]) -> None:
    cast = casting.the_open(maker.session, batch)
    person = maker.person
    waiting = list(readings)
    for step in cast.steps:
        if step.done_at is not None:
            continue
        maker.wait(MINUTES_PER_STEP.get(step.key, 8))
        if waiting and step.key.split(":")[0] in ("melt", "oxidiser"):
            pan.record_temperature(maker.session, batch, TemperatureIn.model_validate({"temperature": waiting.pop(0)}))
        steps.record(maker.session, cast, step.pk, StepIn(act="done"), person)
        if step.key == until:
            break


def weigh_grains(maker: Maker, batch: Batch, told: Told) -> None:
    """Weigh and decide each grain, as dense as the story has it."""
    patterns = [n for n, count in told["items"].items() for _ in range(count)]
    formula = maker.session.get(Formula, batch.formula_id)
    assert formula is not None
    ideal = theoretical_density(formula.blend)
    for number, (name, share) in enumerate(zip(patterns, told["density"], strict=True), start=1):
        pattern = maker.session.get(GrainPattern, maker.named(GrainPattern, name))
        assert pattern is not None
        tube = maker.session.get(CastingTube, pattern.casting_tube_id)
        gross = share * ideal * shapes.volume(pattern) + (tube.tare_kg if tube and tube.tare_kg else 0.0)
        grain = grains.weigh(
            maker.session,
            batch,
            GrainIn.model_validate(
                {"pattern_id": pattern.pk, "number": number, "gross": f"{gross * 1000:.1f} g", "in_tube": True}
            ),
        )
        _decide(maker, grain, share, told.get("hold_below", 0.0))


def _decide(maker: Maker, grain: Grain, share: float, hold_below: float) -> None:
    if share < 0.85:
        decision, why = "reject", "Void under the skin."
    elif share < hold_below:
        decision, why = "hold", "Too light; kept for a look with a lamp."
    else:
        decision, why = "accept", "" if grain.verdict == "accept" else "Looked at: no void found, core straight."
    decisions.decide(maker.session, grain, DecisionIn.model_validate({"decision": decision, "why": why}))


def cast_lot(maker: Maker, told: Told) -> None:
    """An evening of one melt, from its plan to its closing."""
    batch = plan(maker, told)
    maker.code(batch, "", "")
    maker.lots[told["number"]] = batch
    open_by_list(maker, batch)
    weigh_out(maker, batch)
    told_air = {"air_temperature": told["air"], "humidity": told["humidity"]}
    air.record_humidity(maker.session, batch, AirIn.model_validate(told_air))
    _steps(maker, batch, "pull", told["temperatures"])
    weigh_grains(maker, batch, told)
    if "hold_below" not in told:
        decisions.bag_accepted(maker.session, batch)
    _steps(maker, batch, "bag", [])
    tell_rest(maker, batch, told)
    casting.close(maker.session, batch, CloseIn())


def tell_rest(maker: Maker, batch: Batch, told: Told) -> None:
    """What of a lot went into test pieces, and what was kept of it."""
    pieces = f"{workshop.get(maker.session).test_pieces_kg * 1000:.6g} g"
    leftovers.tell_test_pieces(maker.session, batch, TestPiecesIn.model_validate({"test_pieces": pieces}))
    if "leftover" in told:
        left = {"mark": f"Rest of {batch.code}", "mass": told["leftover"]}
        leftovers.keep(maker.session, batch, LeftoverIn.model_validate(left))


def run(maker: Maker, told: Told) -> None:
    """A session that is going on as the book is opened: its next step is due a minute or two later."""
    maker.turn(maker.start - timedelta(minutes=told["minutes_since_opening"]))
    batch = plan(maker, told)
    open_by_list(maker, batch)
    weigh_out(maker, batch)
    _steps(maker, batch, "compact:1", ["111 C", "116 C", "118 C"])


def look_after(maker: Maker, told: Told) -> None:
    """Sticks burned, bags put away, grains weighed again, as told of a lot."""
    lot = maker.lots[told["lot"]]
    for seconds in told.get("sticks", []):
        stick = {"length": "50 mm", "burn_time": f"{seconds} s", "elevation": "12 m", "by_video": True}
        stick["burned_on"] = clock.today()
        test_pieces.record(maker.session, lot, TestPieceIn.model_validate(stick))
    free = [v.grain for v in grains.of_batch(maker.session, lot) if v.motor is None]
    if "place" in told:
        kept = KeepIn(place=told["place"], desiccant=told.get("desiccant", True))
        shelf.keep(maker.session, [g.pk for g in free], kept)
    for grain, gain in zip(free, told.get("gains", []), strict=False):
        again = {"serial": grain.serial, "gross": f"{grain.mass_kg * 1000 + gain:.1f} g"}
        if reweighs.weigh(maker.session, ReWeighIn.model_validate(again)).wet and "accept_wet" in told:
            reweighs.accept(maker.session, grain, WetIn(why=told["accept_wet"]))
