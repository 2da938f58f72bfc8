"""What the demonstration's maker saw beside the figures: near misses, checks, looks at grains; all invented."""

from sqlmodel import Session, select

from app.demo.maker import Maker, Told
from app.models import Batch, Grain
from app.models.grain_look import GrainLookIn
from app.models.incident import TapIn, WrittenIn
from app.models.instrument import ScaleCheckIn, ThermometerCheckIn
from app.services.book import workshop
from app.services.cast import incidents
from app.services.grains import looks
from app.services.hardware import instrument_checks


def tell(maker: Maker, told: Told) -> None:
    """Keep what the story tells of a day: what happened at a lot, or what was seen of its grains, or how the
    instruments were checked.
    """
    maker.wait(10 * 60)
    session, lots = maker.session, maker.lots
    if "grains" in told:
        _look(session, lots[told["lot"]], told)
    elif "what" in told:
        _incident(session, lots[told["lot"]], told)
    else:
        _check(session, told)


def _incident(session: Session, lot: Batch, told: Told) -> None:
    """Tap what nearly went wrong at a lot, and write it out where the story has words."""
    row = incidents.tap(session, lot, TapIn(what=told["what"]), workshop.get(session).person)
    if "words" in told:
        incidents.write_out(session, row, WrittenIn.model_validate({**told, "sort": row.sort}))


def _check(session: Session, told: Told) -> None:
    """What the scale read of its check weight, and the thermometer of boiling water."""
    person = workshop.get(session).person
    if "scale" in told:
        weight = {"instrument": "the small scale", "known": "200 g", "read": told["scale"], "tolerance": "0.2 g"}
        instrument_checks.check_scale(session, ScaleCheckIn.model_validate(weight), person)
    if "thermometer" in told:
        kettle = {"instrument": "the pan's thermometer", "against": "boiling", "elevation": "12 m", "tolerance": "1 C"}
        read = ThermometerCheckIn.model_validate({**kettle, "read": told["thermometer"]})
        instrument_checks.check_thermometer(session, read, person)


def _look(session: Session, lot: Batch, told: Told) -> None:
    """What was seen of some grains of a lot, each by its number."""
    for number in told["grains"]:
        grain = session.exec(select(Grain).where(Grain.batch_id == lot.pk, Grain.number == number)).one()
        looks.look(session, grain, GrainLookIn.model_validate(told), workshop.get(session).person)
