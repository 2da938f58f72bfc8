"""An evening of several melts, each come in by its short list, as one person with two hands spends it."""

import heapq
from collections.abc import Iterator
from datetime import datetime, timedelta

from app import clock
from app.demo import winters
from app.demo.maker import Maker, Told
from app.models import Batch
from app.models.batch import AirIn
from app.models.cast import CloseIn, NoteIn, OpenSessionIn, SetIn, StepIn, TemperatureIn
from app.services.cast import air, casting, checklists, evenings, pan, sets_poured, steps
from app.services.grains import decisions
from app.services.stock import batches

MINUTE = timedelta(minutes=1)
AT_THE_PAN = 8 * MINUTE
"""How long a step without a time of its own takes."""


def spend(maker: Maker, told: Told) -> None:
    """Every act of every melt at its time; what is not bagged when the evening ends is bagged the next morning."""
    lots = [winters.plan(maker, melt) for melt in told["melt"]]
    maker.lots |= dict(enumerate(lots, start=told["number"]))
    maker.at(told["days_ago"], told["hour"])
    going = [_melt(maker, lot, melt) for lot, melt in zip(lots, told["melt"], strict=True)]
    waiting = [(next(acts), number) for number, acts in enumerate(going)]
    while waiting:
        at, number = heapq.heappop(waiting)
        maker.turn(at)
        with maker.signed():  # each act at its own moment, as if it were told on a page
            following = next(going[number], None)
        if following is not None:
            heapq.heappush(waiting, (following, number))
    with maker.signed():
        casting.write_note(maker.session, lots[0], NoteIn(words=told["note"]), of_evening=True)
        casting.close(maker.session, lots[0], CloseIn(why=told["left_for_tomorrow"]))
    maker.at(told["days_ago"] - 1)
    with maker.signed():
        for lot in lots:
            decisions.bag_accepted(maker.session, lot)


def _melt(maker: Maker, lot: Batch, told: Told) -> Iterator[datetime]:
    """The acts of one melt, in turn; gives the moment of each before it is done."""
    yield clock.now() + told["begins_after_minutes"] * MINUTE
    _come_in(maker, lot, told)
    yield clock.now() + AT_THE_PAN
    winters.weigh_out(maker, lot)
    waiting, melt = list(told["temperatures"]), casting.the_open(maker.session, lot)
    while True:
        coming = steps.in_turn(steps.of_melt(melt, lot, batches.weighed(maker.session, lot)))
        now = next((now for now in coming if now.step.key != "bag"), None)
        if now is None:
            break
        yield max(now.due_at or clock.now() + AT_THE_PAN, clock.now() + MINUTE)
        if waiting and now.step.key.startswith(("melt", "oxidiser")):
            read = TemperatureIn.model_validate({"temperature": waiting.pop(0)})
            pan.record_temperature(maker.session, lot, read)
        steps.record(maker.session, melt, now.step.pk, StepIn(act="done"), maker.person)
        if now.step.key == "pour" and now.step.set_number == 1 and "second_set" in told:
            sets_poured.add_set(maker.session, melt, SetIn(moulds=told["second_set"]))
    yield clock.now() + AT_THE_PAN
    winters.weigh_grains(maker, lot, told)
    winters.tell_rest(maker, lot, told)


def _come_in(maker: Maker, lot: Batch, told: Told) -> None:
    """Open the evening by the whole list, or join it by the short one."""
    evening = casting.open_evening(maker.session)
    if evening is None:
        winters.open_by_list(maker, lot)
        told_air = {"air_temperature": told["air"], "humidity": told["humidity"]}
        air.record_humidity(maker.session, lot, AirIn.model_validate(told_air))
    else:
        checklist = checklists.start(maker.session, lot, evening)
        winters.sign(maker, checklist)
        evenings.join(maker.session, lot, OpenSessionIn(checklist_id=checklist.pk))
