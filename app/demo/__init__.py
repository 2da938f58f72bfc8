"""The demonstration book: `demo_data/workshop.toml` acted out through the services, with the clock turned back."""

import tomllib
from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from sqlmodel import Session, select

from app import clock, first_run, system
from app.book import mark, missing
from app.calc.motor.simulation import MotorRun, simulate
from app.calc.propellant.recipe import theoretical_density
from app.db import migrate, open_engine, writing
from app.demo import log, looks
from app.models import (
    Batch,
    Case,
    CastingTube,
    CoringRod,
    Firing,
    Formula,
    Grain,
    GrainPattern,
    LaunchField,
    MotorBuild,
    Nozzle,
    Prediction,
    Rocket,
)
from app.models.bag import KeepIn, ReWeighIn, WetIn
from app.models.base import FormIn
from app.models.batch import AirIn, LeftoverIn, PlanIn, TestPiecesIn, WeighOutIn
from app.models.cast import CloseIn, OpenSessionIn, StepIn, TemperatureIn
from app.models.checklist import SignIn
from app.models.curve import ReadIn
from app.models.distance import DistancesIn
from app.models.firing import FiringIn
from app.models.formula import FormulaIn
from app.models.grain import DecisionIn, GrainIn
from app.models.hardware import CaseIn, CastingTubeIn, CoringRodIn, GrainPatternIn, NozzleIn
from app.models.motor import BuildIn
from app.models.place import LaunchFieldIn, RocketIn
from app.models.supply import SupplyIn
from app.models.test_piece import TestPieceIn
from app.services.book import audit_reasons, repository, workshop
from app.services.cast import air, blanks, casting, checklists, leftovers, pan, planning, steps, weigh_outs
from app.services.firings import curves, firings
from app.services.grains import decisions, grains, reweighs, shelf, test_pieces
from app.services.hardware import distances, inventory, places, shapes
from app.services.learning import learning_switch
from app.services.motors import builds, prediction
from app.services.stock import batches, formulas, supplies
from app.settings import resource
from app.units import parse

Told = Mapping[str, Any]
MINUTES_PER_STEP = {"pour": 6, "core": 3, "compact:1": 15, "compact:2": 10, "compact:3": 10, "pull": 52, "bag": 260}


def fill(book: Path) -> None:
    """Make a demonstration book; the file appears only when all of it is in."""
    story = tomllib.loads((resource("demo_data") / "workshop.toml").read_text(encoding="utf-8"))
    unfinished = book.with_suffix(".unfinished")
    unfinished.unlink(missing_ok=True)
    migrate(unfinished)
    engine = open_engine(unfinished)
    first_run.prepare(engine)
    with writing(engine) as session, clock.turned_to(clock.now()) as turn:
        _Workshop(session, turn).act(story)
        session.commit()
    with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    engine.dispose()
    mark.mark_of(unfinished).unlink(missing_ok=True)
    system.swap_in(unfinished, book)
    missing.begin(book)


@dataclass
class _Workshop:
    """Acts the story out in a session, turning the clock as it goes."""

    session: Session
    turn: Callable[[datetime], None]
    start: datetime = field(default_factory=clock.now)
    lots: dict[int, Batch] = field(default_factory=dict)
    seen: Mapping[str, str] = field(default_factory=dict)
    older: int = 0  # lots and motors of more days ago have the codes that older books gave

    def act(self, story: Told) -> None:
        """All of it, in the order of its days, ending at the moment the book is made."""
        self.older, self.seen = story["older_codes_days_ago"], story["seen"]
        with self._signed():
            self._own(story)
        days: list[tuple[int, Callable[[Told], None], Told]] = []
        days += [(supply["days_ago"], self._buy, supply) for supply in story["supply"]]
        numbered = [{**lot, "number": number} for number, lot in enumerate(story["lot"], start=1)]
        days += [(lot["days_ago"], self._cast_lot, lot) for lot in numbered]
        days += [(kept["days_ago"], self._look_after, kept) for kept in story["kept"]]
        days += [(told["days_ago"], self._look, told) for told in story["told"]]
        days += [(firing["days_ago"], self._fire, firing) for firing in story["firing"]]
        for days_ago, act, told in sorted(days, key=lambda day: -day[0]):
            self._at(days_ago)
            with self._signed():
                act(told)
        self._at(1)
        with self._signed():
            self._build(story["build"])
        self.turn(self.start)
        with self._signed():
            for told in story["planned"]:
                self._plan(told)
            self._run(story["running"])
        self.turn(self.start)

    def _signed(self) -> AbstractContextManager[None]:
        return audit_reasons.signed(self.session, workshop.get(self.session).person)

    # --- Time and names ---------------------------------------------------------------------------

    def _at(self, days_ago: int, hour: int = 10) -> None:
        day = clock.local(self.start) - timedelta(days=days_ago)
        self.turn(day.replace(hour=hour, minute=0, second=0, microsecond=0))

    def _code(self, row: Batch | MotorBuild, head: str, tail: str) -> None:
        """Give a row of long ago the code that a book of then gave it, such as 25K3 or M25K-02."""
        if (self.start - clock.now()).days < self.older:
            return
        day = clock.today()
        prefix = f"{head}{day:%y}{'ABCDEFGHIJKL'[day.month - 1]}{tail}"
        row.code = f"{prefix}{repository.next_number(self.session, type(row).code, prefix):0{1 + bool(tail)}d}"
        self.session.flush()

    def _wait(self, minutes: float) -> None:
        self.turn(clock.now() + timedelta(minutes=minutes))

    def _named(self, table: type[Any], name: str) -> int:
        row = self.session.exec(select(table).where(table.name == name)).first()
        assert row is not None, f"the story names {name}, which the workshop does not own"
        return int(row.pk)

    def _form(self, model: type[FormIn], told: Told, **more: Any) -> Any:
        texts = {k: v for k, v in {**told, **more}.items() if k in model.model_fields and v is not None}
        return model.model_validate(texts)

    # --- What the workshop owns -------------------------------------------------------------------

    def _own(self, story: Told) -> None:
        self._at(max(item["days_ago"] for item in story["supply"]))
        shop = workshop.get(self.session)
        shop.person = story["person"]
        shop.pan_capacity_kg, shop.pan_capacity_typed = parse(story["pan_capacity"], "mass")
        shop.known_melt_kg, shop.known_melt_typed = parse(story["known_melt"], "mass")
        for told in story["formula"]:
            parts = [{"ingredient": name, "percent": share} for name, share in told["parts"].items()]
            formulas.save(self.session, self._form(FormulaIn, told, parts=parts))
        for told in story["tube"]:
            inventory.save_tube(self.session, self._form(CastingTubeIn, told))
        for told in story["rod"]:
            inventory.save_rod(self.session, self._form(CoringRodIn, told))
        for told in story["pattern"]:
            tools = {
                "casting_tube_id": self._named(CastingTube, told["tube"]),
                "coring_rod_id": self._named(CoringRod, told["rod"]),
            }
            inventory.save_pattern(self.session, self._form(GrainPatternIn, told, **tools))
        for told in story["case"]:
            proof = told.get("proof_days_ago")
            day = clock.local(self.start).date() - timedelta(days=proof) if proof else None
            inventory.save_case(self.session, self._form(CaseIn, told, proof_on=day))
        for told in story["nozzle"]:
            inventory.save_nozzle(self.session, self._form(NozzleIn, told))
        for told in story["rocket"]:
            places.save_rocket(self.session, self._form(RocketIn, told))
        for told in story["field"]:
            places.save_field(self.session, self._form(LaunchFieldIn, told))
        distances.save(self.session, self._form(DistancesIn, {"lines": story["distance"]}))

    def _buy(self, told: Told) -> None:
        supplies.save(self.session, self._form(SupplyIn, told, received_on=clock.today()))

    # --- Casting ------------------------------------------------------------------------------------

    def _plan(self, told: Told) -> Batch:
        shop = workshop.get(self.session)
        left = batches.leftovers(self.session)
        remelts = [{"leftover_id": left[0][0].pk, "mass": told["remelt"]}] if "remelt" in told else []
        items = [{"pattern_id": self._named(GrainPattern, n), "count": c} for n, c in told["items"].items()]
        plan = PlanIn.model_validate(
            {
                "formula_id": self._named(Formula, told["formula"]),
                "planned_for": clock.today() + timedelta(days=told.get("days_ahead", 0)),
                "items": items,
                "remelts": remelts,
                "expected_density": f"{shop.expected_density_share * 100:.6g} %",
                "over_pour": f"{shop.over_pour_share * 100:.6g} %",
                "test_pieces": f"{shop.test_pieces_kg * 1000:.6g} g",
                "note": told.get("note", ""),
            }
        )
        return planning.plan(self.session, plan)

    def _open(self, batch: Batch) -> None:
        checklist = checklists.start(self.session, batch)
        for line in checklists.lines(self.session, checklist):
            checklists.answer(self.session, checklist, line.item.pk, blanks.filled(line.item.words, self.seen))
        checklists.sign(self.session, checklist, SignIn(person=workshop.get(self.session).person, place="Barn"))
        casting.open_session(self.session, batch, OpenSessionIn(checklist_id=checklist.pk))

    def _weigh_out(self, batch: Batch) -> None:
        for part in list(batch.parts):
            bag = None
            if part.ingredient is not None:
                held = supplies.remaining(self.session)
                bags = supplies.bags(self.session, part.ingredient)
                bag = next(b.pk for b in bags if held[b.pk] > part.target_kg)
            weighed = WeighOutIn.model_validate({"supply_id": bag, "mass": f"{part.target_kg * 1000:.1f} g"})
            weigh_outs.weigh_out(self.session, batch, part.pk, weighed, workshop.get(self.session).person)

    def _steps(self, batch: Batch, until: str, readings: list[str]) -> None:
        cast = casting.the_open(self.session, batch)
        person = workshop.get(self.session).person
        waiting = list(readings)
        for step in cast.steps:
            if step.done_at is not None:
                continue
            self._wait(MINUTES_PER_STEP.get(step.key, 8))
            if waiting and step.key.split(":")[0] in ("melt", "oxidiser"):
                pan.record_temperature(
                    self.session, batch, TemperatureIn.model_validate({"temperature": waiting.pop(0)})
                )
            steps.record(self.session, cast, step.pk, StepIn(act="done"), person)
            if step.key == until:
                break

    def _weigh_grains(self, batch: Batch, told: Told) -> None:
        patterns = [n for n, count in told["items"].items() for _ in range(count)]
        formula = self.session.get(Formula, batch.formula_id)
        assert formula is not None
        ideal = theoretical_density(formula.blend)
        for number, (name, share) in enumerate(zip(patterns, told["density"], strict=True), start=1):
            pattern = self.session.get(GrainPattern, self._named(GrainPattern, name))
            assert pattern is not None
            tube = self.session.get(CastingTube, pattern.casting_tube_id)
            gross = share * ideal * shapes.volume(pattern) + (tube.tare_kg if tube and tube.tare_kg else 0.0)
            grain = grains.weigh(
                self.session,
                batch,
                GrainIn.model_validate(
                    {"pattern_id": pattern.pk, "number": number, "gross": f"{gross * 1000:.1f} g", "in_tube": True}
                ),
            )
            self._decide(grain, share, told.get("hold_below", 0.0))

    def _decide(self, grain: Grain, share: float, hold_below: float) -> None:
        if share < 0.85:
            decision, why = "reject", "Void under the skin."
        elif share < hold_below:
            decision, why = "hold", "Too light; kept for a look with a lamp."
        else:
            decision, why = "accept", "" if grain.verdict == "accept" else "Looked at: no void found, core straight."
        decisions.decide(self.session, grain, DecisionIn.model_validate({"decision": decision, "why": why}))

    def _cast_lot(self, told: Told) -> None:
        batch = self._plan(told)
        self._code(batch, "", "")
        self.lots[told["number"]] = batch
        self._open(batch)
        self._weigh_out(batch)
        told_air = {"air_temperature": told["air"], "humidity": told["humidity"]}
        air.record_humidity(self.session, batch, AirIn.model_validate(told_air))
        self._steps(batch, "pull", told["temperatures"])
        self._weigh_grains(batch, told)
        if "hold_below" not in told:
            decisions.bag_accepted(self.session, batch)
        self._steps(batch, "bag", [])
        pieces = f"{workshop.get(self.session).test_pieces_kg * 1000:.6g} g"
        leftovers.tell_test_pieces(self.session, batch, TestPiecesIn.model_validate({"test_pieces": pieces}))
        if "leftover" in told:
            left = {"mark": f"Rest of {batch.code}", "mass": told["leftover"]}
            leftovers.keep(self.session, batch, LeftoverIn.model_validate(left))
        casting.close(self.session, batch, CloseIn())

    def _run(self, told: Told) -> None:
        """A session that is going on as the book is opened: its next step is due a minute or two later."""
        self.turn(self.start - timedelta(minutes=told["minutes_since_opening"]))
        batch = self._plan(told)
        self._open(batch)
        self._weigh_out(batch)
        self._steps(batch, "compact:1", ["111 C", "116 C", "118 C"])

    # --- The shelf ------------------------------------------------------------------------------------

    def _look_after(self, told: Told) -> None:
        """Sticks burned, bags put away, grains weighed again, as told of a lot."""
        lot = self.lots[told["lot"]]
        for seconds in told.get("sticks", []):
            stick = {"length": "50 mm", "burn_time": f"{seconds} s", "elevation": "12 m", "by_video": True}
            stick["burned_on"] = clock.today()
            test_pieces.record(self.session, lot, TestPieceIn.model_validate(stick))
        free = [v.grain for v in grains.of_batch(self.session, lot) if v.motor is None]
        if "place" in told:
            kept = KeepIn(place=told["place"], desiccant=told.get("desiccant", True))
            shelf.keep(self.session, [g.pk for g in free], kept)
        for grain, gain in zip(free, told.get("gains", []), strict=False):
            again = {"serial": grain.serial, "gross": f"{grain.mass_kg * 1000 + gain:.1f} g"}
            if reweighs.weigh(self.session, ReWeighIn.model_validate(again)).wet and "accept_wet" in told:
                reweighs.accept(self.session, grain, WetIn(why=told["accept_wet"]))

    def _look(self, told: Told) -> None:
        self._wait(10 * 60)
        looks.tell(self.session, self.lots, told)

    # --- Motors and firings ---------------------------------------------------------------------------

    def _build(self, told: Told) -> MotorBuild:
        lot = self.lots[told["lot"]]
        free = [g for g in grains.ready(self.session) if g.batch_id == lot.pk][: told["grains"]]
        nozzle = self.session.get(Nozzle, self._named(Nozzle, told["nozzle"]))
        assert nozzle is not None
        throat = inventory.throat_now(self.session, nozzle)
        build = builds.build(
            self.session,
            BuildIn.model_validate(
                {
                    "grain_ids": [g.pk for g in free],
                    "case_id": self._named(Case, told["case"]),
                    "nozzle_id": nozzle.pk,
                    "throat_d": f"{throat * 1000:.6g} mm",
                    "built_on": clock.today(),
                    "field_elevation": "12 m",
                    "grain_temperature": told.get("air", "15 C"),
                }
            ),
        )
        self._code(build, "M", "-")
        return build

    def _fire(self, told: Told) -> None:
        build = self._build(told)
        self._wait(200)
        if "no_light" in told:
            self._log(told, build, result="no_light", words=told["no_light"], altitude=None)
        self._wait(40)
        predicted = self.session.exec(select(Prediction).where(Prediction.motor_build_id == build.pk)).one()
        share = told.get("share_of_predicted")
        impulse = f"{share * predicted.total_impulse_ns:.0f} N·s" if share else None
        firing = self._log(told, build, measured_impulse=impulse)
        log.tell(self.session, firing, told)
        if share and firing.kind == "static":
            self._record(firing, self._burn(told, build, share * predicted.total_impulse_ns))
        if "left_out" in told:
            learning_switch.leave_out(self.session, firing, told["left_out"])
        if "let_in" in told:
            learning_switch.let_wet_in(self.session, firing, told["let_in"])

    def _burn(self, told: Told, build: MotorBuild, impulse: float) -> MotorRun:
        """What the motor did: `burns` times as fast as the book has it, and of about that impulse [N s]."""
        setup = builds.setup_of(self.session, builds.around(self.session, build))
        motor, _ = prediction.motor_of(self.session, setup, taught=None)
        law = motor.propellant.law
        burned = replace(law, rates=tuple(told.get("burns", 1.0) * rate for rate in law.rates))
        motor = replace(motor, propellant=replace(motor.propellant, law=burned))
        short = impulse / simulate(motor).total_impulse
        return simulate(
            replace(
                motor,
                c_star_efficiency=motor.c_star_efficiency * short**0.5,
                nozzle_efficiency=min(motor.nozzle_efficiency * short**0.4, 1.0),
            )
        )

    def _record(self, firing: Firing, run: MotorRun) -> None:
        """The stand's logger, with an offset and noise; what is read of it becomes the firing's measured figures."""
        chance = np.random.default_rng(firing.pk)
        t = np.arange(0.0, run.time[-1] + 3.0, 0.002)
        thrust = np.interp(t - 1.0, run.time, run.thrust, 0.0, 0.0)
        gauge = np.interp(t - 1.0, run.time, run.pressure, 0.0, 0.0) / 1e6
        noise = chance.normal(0.0, (0.6, 0.004), (t.size, 2))
        table = np.column_stack((t, thrust + 2.5 + noise[:, 0], np.maximum(gauge - 0.1, 0.0) + noise[:, 1]))
        rows = (f"{a:.3f},{b:.1f},{c:.3f}" for a, b, c in table)
        raw = "\n".join(("Time (s),Thrust (N),Pressure (MPa)", *rows)).encode()
        row = curves.STAND.take_in(self.session, firing, "stand.csv", raw)
        texts = {name: text for name, text in curves.STAND.texts_for(self.session, firing, row).items() if text}
        curves.keep(self.session, firing, row, ReadIn.model_validate(texts))
        curves.take_over(self.session, firing)

    def _log(self, told: Told, build: MotorBuild, **more: Any) -> Firing:
        known = {
            "motor_build_id": build.pk,
            "fired_at": clock.local(clock.now()).replace(tzinfo=None),
            "launch_field_id": self._named(LaunchField, told["field"]),
            "rocket_id": self._named(Rocket, told["rocket"]) if "rocket" in told else None,
            "air_temperature": told.get("air"),
        }
        return firings.log(self.session, self._form(FiringIn, {**told, **known}, **more))
