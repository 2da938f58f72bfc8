"""Two motors or firings beside each other: what each did or is expected to do, and by how much they differ."""

from collections.abc import Sequence
from dataclasses import dataclass

from sqlmodel import Session, col, select

from app import clock
from app.errors import NotFound, Refused
from app.models import Firing, MotorBuild
from app.services.firings import curves, firings
from app.services.firings.reading import Result
from app.services.learning import prediction_record
from app.services.learning.prediction_record import PredictionRecord, Range
from app.services.motors import builds

NEWEST = 40
"""Motors and firings that are offered; any other is reached from its own page."""


@dataclass(frozen=True)
class Side:
    """One of the two: its key in the address, its name and page, and either what is expected or what was measured."""

    key: str
    name: str
    href: str
    predicted: PredictionRecord | None
    measured: Result | None
    firing: Firing | None


@dataclass(frozen=True)
class Figure:
    """A figure of both, SI, with the range of what is expected; `kind` is the kind of its unit."""

    label: str
    kind: str
    a: Range | None
    b: Range | None

    @property
    def difference(self) -> float | None:
        """How much more the second is than the first, SI."""
        return None if self.a is None or self.b is None else self.b.mid - self.a.mid

    @property
    def share(self) -> float | None:
        """The same as a share of the first [-]."""
        return None if self.a is None or self.difference is None or not self.a.mid else self.difference / self.a.mid


def side(session: Session, key: str) -> Side:
    """What a key names: `motor:26-031` what is expected of that motor, `firing:3` what was measured.

    Raises
    ------
    NotFound
        There is no such motor or firing.
    Refused
        The key names neither, or nothing was predicted of the motor.
    """
    what, _, name = key.partition(":")
    if what == "motor" and name:
        built = builds.by_code(session, name)
        if built.prediction is None:
            raise Refused(f"Nothing was predicted of {built.build.code}; compare its firing.")
        code = built.build.code
        told = prediction_record.from_row(built.prediction)
        return Side(f"motor:{code}", f"Motor {code}, expected", f"/motors/{code}", told, None, None)
    if what == "firing" and name.isascii() and name.isdigit() and len(name) < 10:
        firing = firings.get(session, int(name))
        code = firings.its_motor(session, firing).build.code
        words = f"Motor {code}, fired {clock.day(firing.fired_at)}"
        found = curves.measured(session, firing)
        result = found.result if found else None
        return Side(f"firing:{firing.pk}", words, f"/firings/{firing.pk}", None, result, firing)
    raise NotFound(f"“{key}” is neither a motor, as in motor:26-031, nor a firing, as in firing:3.")


def offered(session: Session) -> list[tuple[str, str]]:
    """The newest motors and firings, each by its key with its name."""
    newest = select(MotorBuild.code).order_by(col(MotorBuild.built_on).desc(), col(MotorBuild.id).desc()).limit(NEWEST)
    made = [(f"motor:{code}", f"Motor {code}, expected") for code in session.exec(newest)]
    fired = (
        select(Firing.id, Firing.fired_at, MotorBuild.code)
        .join(MotorBuild, col(Firing.motor_build_id) == MotorBuild.id)
        .where(Firing.result != "no_light")
        .order_by(col(Firing.fired_at).desc())
        .limit(NEWEST)
    )
    return made + [(f"firing:{pk}", f"Motor {code}, fired {clock.day(at)}") for pk, at, code in session.exec(fired)]


def figures(a: Side, b: Side) -> list[Figure]:
    """What both are compared by; a figure that neither has is left out."""
    lines = [
        ("Impulse", "impulse", "total_impulse"),
        ("Burn time", "time", "burn_time"),
        ("Mean thrust", "force", "mean_thrust"),
        ("Peak thrust", "force", "peak_thrust"),
        ("Peak pressure", "pressure", "peak_pressure"),
    ]
    both = [Figure(label, kind, _of(a, name), _of(b, name)) for label, kind, name in lines]
    height = [Figure("Height", "altitude", *(_flown(one) for one in (a, b)))]
    return [figure for figure in [*both, *height] if figure.a or figure.b]


_SI = {"total_impulse": "_ns", "burn_time": "_s", "mean_thrust": "_n", "peak_thrust": "_n", "peak_pressure": "_pa"}


def _of(one: Side, name: str) -> Range | None:
    """A figure: what is expected of it, what a person typed of a firing, or what its curve says."""
    if one.predicted is not None:
        found = getattr(one.predicted, name)
        assert isinstance(found, Range), "each figure of a prediction has its range"
        return found
    column = {"total_impulse": "impulse"}.get(name, name)
    value = getattr(one.firing, f"measured_{column}{_SI[name]}", None)
    if value is None and one.measured is not None:
        value = getattr(one.measured, f"{name}{_SI[name]}")
    return None if value is None else Range(mid=value)


def _flown(one: Side) -> Range | None:
    return Range(mid=one.firing.altitude_m) if one.firing is not None and one.firing.altitude_m is not None else None


def picked(keys: Sequence[str]) -> str:
    """What is wrong with what was ticked, in words; "" where it is two different things."""
    if len(set(keys)) == 2:
        return ""
    if len(set(keys)) < 2:
        return "Choose two different motors or firings."
    return f"{len(set(keys))} were ticked; two can be compared at a time. Choose which."
