"""Motors of the grains, what they burned like on the stand, and what was logged of each firing."""

from dataclasses import replace
from typing import Any

import numpy as np
from sqlmodel import select

from app import clock
from app.calc.motor.simulation import MotorRun, simulate
from app.demo import log
from app.demo.maker import Maker, Told
from app.models import Case, Firing, LaunchField, MotorBuild, Nozzle, Prediction, Rocket
from app.models.curve import ReadIn
from app.models.firing import FiringIn
from app.models.motor import BuildIn
from app.services.firings import curves, firings
from app.services.grains import grains
from app.services.hardware import inventory
from app.services.learning import learning_switch
from app.services.motors import builds, prediction


def load(maker: Maker, told: Told) -> MotorBuild:
    """Load the next grains of a lot into a case."""
    lot = maker.lots[told["lot"]]
    free = [g for g in grains.ready(maker.session) if g.batch_id == lot.pk][: told["grains"]]
    nozzle = maker.session.get(Nozzle, maker.named(Nozzle, told["nozzle"]))
    assert nozzle is not None
    throat = inventory.throat_now(maker.session, nozzle)
    build = builds.build(
        maker.session,
        BuildIn.model_validate(
            {
                "grain_ids": [g.pk for g in free],
                "case_id": maker.named(Case, told["case"]),
                "nozzle_id": nozzle.pk,
                "throat_d": f"{throat * 1000:.6g} mm",
                "built_on": clock.today(),
                "field_elevation": "12 m",
                "grain_temperature": told.get("air", "15 C"),
            }
        ),
    )
    maker.code(build, "M", "-")
    return build


def fire(maker: Maker, told: Told) -> None:
    """Build a motor, fire it, and log what it did and what was seen."""
    build = load(maker, told)
    maker.wait(200)
    if "no_light" in told:
        _log(maker, told, build, result="no_light", words=told["no_light"], altitude=None)
    maker.wait(40)
    predicted = maker.session.exec(select(Prediction).where(Prediction.motor_build_id == build.pk)).one()
    share = told.get("share_of_predicted")
    by_stand = share is not None and told["kind"] == "static"  # then its curve has the figures
    impulse = f"{share * predicted.total_impulse_ns:.0f} N·s" if share and not by_stand else None
    firing = _log(maker, told, build, measured_impulse=impulse)
    log.tell(maker.session, firing, told)
    if share and by_stand:
        _record(maker, firing, _burn(maker, told, build, share * predicted.total_impulse_ns))
    if "left_out" in told:
        learning_switch.leave_out(maker.session, firing, told["left_out"])
    if "let_in" in told:
        learning_switch.let_wet_in(maker.session, firing, told["let_in"])


def _burn(maker: Maker, told: Told, build: MotorBuild, impulse: float) -> MotorRun:
    """What the motor did: `burns` times as fast as the book has it, and of about that impulse [N s]."""
    setup = builds.setup_of(maker.session, builds.around(maker.session, build))
    motor, _ = prediction.motor_of(maker.session, setup, taught=None)
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


def _record(maker: Maker, firing: Firing, run: MotorRun) -> None:
    """The stand's logger, with an offset and noise; what is read of it becomes the firing's measured figures."""
    chance = np.random.default_rng(firing.pk)
    t = np.arange(0.0, run.time[-1] + 3.0, 0.002)
    thrust = np.interp(t - 1.0, run.time, run.thrust, 0.0, 0.0)
    gauge = np.interp(t - 1.0, run.time, run.pressure, 0.0, 0.0) / 1e6
    noise = chance.normal(0.0, (0.6, 0.004), (t.size, 2))
    table = np.column_stack((t, thrust + 2.5 + noise[:, 0], np.maximum(gauge - 0.1, 0.0) + noise[:, 1]))
    rows = (f"{a:.3f},{b:.1f},{c:.3f}" for a, b, c in table)
    raw = "\n".join(("Time (s),Thrust (N),Pressure (MPa)", *rows)).encode()
    row = curves.STAND.take_in(maker.session, firing, "stand.csv", raw)
    texts = {name: text for name, text in curves.STAND.texts_for(maker.session, firing, row).items() if text}
    curves.keep(maker.session, firing, row, ReadIn.model_validate(texts))
    curves.take_over(maker.session, firing)


def _log(maker: Maker, told: Told, build: MotorBuild, **more: Any) -> Firing:
    known = {
        "motor_build_id": build.pk,
        "fired_at": clock.local(clock.now()).replace(tzinfo=None),
        "launch_field_id": maker.named(LaunchField, told["field"]),
        "rocket_id": maker.named(Rocket, told["rocket"]) if "rocket" in told else None,
        "air_temperature": told.get("air"),
    }
    return firings.log(maker.session, maker.form(FiringIn, {**told, **known}, **more))
