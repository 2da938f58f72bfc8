"""What was written on a melt's sheet of paper, entered afterwards in the sheet's order: bowls, steps, pan, grains.

Each line does what it does at the bench, by the same rules; what is wrong with one is told beside it, and then nothing
is entered.
"""

from collections.abc import Iterator
from contextlib import contextmanager

from sqlmodel import Session

from app.errors import Asked, Refused
from app.models import Batch, CastStep, Melt, Supply, TemperatureReading
from app.models.batch import WeighOutIn
from app.models.cast import StepIn
from app.models.grain import GrainIn
from app.models.runsheet import PaperBowlIn, PaperGrainIn, PaperIn, PaperStepIn
from app.services.book import moments, repository
from app.services.cast import casting, needs, steps, weigh_outs
from app.services.cast.weigh_outs import PartNow
from app.services.grains import grains
from app.units import Quantity


def bowls(session: Session, batch: Batch) -> list[PartNow]:
    """The bowls of a melt that nothing was weighed into yet, in the order of the recipe."""
    return [now for now in weigh_outs.of_batch(session, batch) if now.state == "open"]


def unweighed(session: Session, batch: Batch) -> list[tuple[int, int, str]]:
    """Number, pattern's row and pattern's name of each grain planned for a melt that was not weighed yet."""
    known = {view.grain.number for view in grains.of_batch(session, batch)}
    planned = [want.pattern for want in needs.wanted(session, batch) for _ in range(want.count)]
    return [(i, shape.pk, shape.name) for i, shape in enumerate(planned, start=1) if i not in known]


def enter(session: Session, batch: Batch, data: PaperIn) -> int:
    """Enter what was written on paper; tells how many lines.

    Raises
    ------
    Refused
        The evening is not open, nothing is filled in, or a line does not fit; beside the field that is wrong.
    Asked
        A weight can hardly be; beside it.
    """
    melt = casting.the_open(session, batch)
    person = casting.person(melt.evening)
    bowls = [(n, bowl) for n, bowl in enumerate(data.bowls) if bowl.mass is not None]
    told = [(n, step) for n, step in enumerate(data.steps) if step.at or step.skipped or step.temperature is not None]
    weighed = [(n, grain) for n, grain in enumerate(data.grains) if grain.gross is not None]
    entered = len(bowls) + len(told) + len(data.readings) + len(weighed)
    if not entered:
        raise Refused("Nothing is filled in yet. Write at least one line, or leave the page.")
    for number, bowl in bowls:
        with _beside(f"bowls.{number}", "mass"):
            _weigh_out(session, batch, bowl, data.sure_of(f"bowls.{number}.mass"), person)
    for number, step in told:
        _step(session, melt, number, step, person)
    for number, reading in enumerate(data.readings):
        with _beside(f"readings.{number}", "at"):
            _read(session, melt, reading.at, reading.temperature)
    for number, grain in weighed:
        with _beside(f"grains.{number}", "gross"):
            _weigh(session, batch, grain, data.sure_of(f"grains.{number}.gross"))
    steps.note(session, melt, f"Entered afterwards, {entered} {'line' if entered == 1 else 'lines'}: {data.why}")
    session.flush()
    return entered


@contextmanager
def _beside(line: str, field: str, **renamed: str) -> Iterator[None]:
    """Tell what is wrong with a line beside the line's own field; where it names none, beside this one."""
    try:
        yield
    except Asked as asked:
        place = f"{line}.{renamed.get(asked.field or field, asked.field or field)}"
        raise Asked(asked.message, place, asked.readings, keep=asked.keep, about=asked.about) from None
    except Refused as refused:
        place = f"{line}.{renamed.get(refused.field or field, refused.field or field)}"
        raise Refused(refused.message, field=place) from None


def _weigh_out(session: Session, batch: Batch, bowl: PaperBowlIn, sure: bool, person: str) -> None:
    now = next((now for now in weigh_outs.of_batch(session, batch) if now.part.pk == bowl.part_id), None)
    if now is None:
        raise Refused(f"That is not a part of {batch.code}.")
    bag = _bag(now, bowl.bag) if now.part.ingredient is not None else None
    assert bowl.mass is not None
    given = WeighOutIn.model_construct(supply_id=bag.pk if bag else None, mass=bowl.mass)
    given.answering([("mass", "likely")] if sure else [])
    try:
        weigh_outs.weigh_out(session, batch, bowl.part_id, given, person)
    except Refused as refused:
        if refused.field == "supply_id":
            refused.field = "bag"
        raise


def _bag(now: PartNow, mark: str) -> Supply:
    """The bag of that mark, or the only one where none is written."""
    bags = [bag for bag, _ in now.bags]
    found = [bag for bag in bags if bag.mark.casefold() == mark.casefold()] if mark else bags
    if len(found) == 1:
        return found[0]
    known = ", ".join(bag.mark for bag in bags) or "none"
    raise Refused(f"Write which bag the {now.name.lower()} came from, by its mark. On the shelf: {known}.", field="bag")


def _step(session: Session, melt: Melt, number: int, line: PaperStepIn, person: str) -> None:
    with _beside(f"steps.{number}", "skipped" if line.skipped else "at", why="skipped"):
        if line.at and line.skipped:
            raise Refused("Either it was done at that time or it was skipped; empty one.", field="at")
        if line.skipped:
            steps.record(session, melt, line.step_id, StepIn(act="skip", why=line.skipped), person)
            return
        if not line.at:
            raise Refused("Write when it was done, beside the temperature.", field="at")
        step = repository.get(session, CastStep, line.step_id, "step")
        if step.melt_id != melt.pk:
            raise Refused("That step belongs to another melt.")
        repository.claim(step, None)
        steps.put_time(session, melt, step, moments.parse(line.at), person)
        if line.temperature is not None:
            _read(session, melt, line.at, line.temperature)


def _read(session: Session, melt: Melt, at: str, temperature: Quantity) -> None:
    reading = TemperatureReading(
        melt_id=melt.pk, read_at=moments.parse(at), temperature_k=temperature.si, temperature_typed=temperature.typed
    )
    session.add(reading)


def _weigh(session: Session, batch: Batch, line: PaperGrainIn, sure: bool) -> None:
    assert line.gross is not None
    given = GrainIn.model_construct(
        pattern_id=line.pattern_id, number=str(line.number), gross=line.gross, in_tube=line.in_tube, note=line.note
    )
    grains.weigh(session, batch, given.answering([("gross", "likely")] if sure else []))
