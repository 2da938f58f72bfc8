"""What a plan that was worked out again does otherwise than the one before, and why: in sentences."""

import json
from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from typing import Any

from sqlmodel import Session, col, select

from app import clock
from app.calc.season.rejects import rejects_by_melt
from app.errors import Refused
from app.models import Grain, Season, SeasonPlan, Wish
from app.services.season import casting_inputs, kept_plans
from app.services.season.casting_inputs import Inputs

MORE_REJECTS = 0.01
"""The share of rejects counts as changed from so much on [-]: one grain in a hundred."""


def sentences(session: Session, before: SeasonPlan, inputs: Inputs, result: Mapping[str, Any]) -> list[str]:
    """How a plan differs from the one before, then why; that nothing changed, where nothing did."""
    was = json.loads(before.result_json)
    opened = {day.isoformat() for day in kept_plans.opened_on(session, session.get_one(Season, before.season_id))}
    done = list(_differences(was["evenings"], result["evenings"], opened))
    if was["feasible"] and not result["feasible"]:
        done.insert(0, "It cannot all be cast any more.")
    if result["feasible"] and not was["feasible"]:
        done.insert(0, "All of it can be cast now.")
    why = list(_reasons(session, before, inputs))
    return [*(done or ["The evenings stay as they were."]), *why]


def since(session: Session, season: Season, row: SeasonPlan) -> list[str]:
    """Why a plan does not hold any more, as the book stands now; nothing where it holds."""
    result = json.loads(row.result_json)
    opened = kept_plans.opened_on(session, season)
    passed = [
        f"{_day(one['on'])} passed without its melts."
        for one in result["evenings"]
        if date.fromisoformat(one["on"]) < clock.today() and date.fromisoformat(one["on"]) not in opened
    ]
    try:
        now = casting_inputs.of(session, season)
    except Refused as refused:
        return [*passed, str(refused.message)] if result["evenings"] and not _all_done(row) else []
    return [*passed, *_reasons(session, row, now)]


def _all_done(row: SeasonPlan) -> bool:
    """Whether the last evening of a plan is past."""
    return all(date.fromisoformat(one["on"]) < clock.today() for one in json.loads(row.result_json)["evenings"])


def _day(text: str) -> str:
    day = date.fromisoformat(text)
    return f"{day:%a} {day.day} {day:%b}"


def _on(promised: Sequence[Inputs]) -> set[str]:
    return {melt["on"] for melt in promised}


def _grains(evening: Inputs) -> dict[str, int]:
    found: dict[str, int] = {}
    for melt in evening["melts"]:
        for name, count in melt["grains"].items():
            found[name] = found.get(name, 0) + count
    return found


def _words(grains: Mapping[str, int]) -> str:
    return " and ".join(f"{count} {name}" for name, count in grains.items()) or "nothing"


def _differences(was: Sequence[Inputs], now: Sequence[Inputs], stands: set[str]) -> Iterator[str]:
    """Evening by evening; those that are past or stand as batches are no change."""
    today = clock.today().isoformat()
    before = {one["on"]: _grains(one) for one in was if one["on"] >= today and one["on"] not in stands}
    after = {one["on"]: _grains(one) for one in now}
    for day in sorted({*before, *after}):
        old, new = before.get(day), after.get(day)
        if old is None and new is not None and day not in stands:
            yield f"{_day(day)} comes in: {_words(new)}."
        elif old is not None and new is None:
            yield f"{_day(day)} falls away: {_words(old)}."
        elif old is not None and new is not None and old != new:
            yield f"{_day(day)}: {_words(new)} instead of {_words(old)}."


def _reasons(session: Session, before: SeasonPlan, now: Inputs) -> Iterator[str]:
    """What of the inputs is otherwise, as far as it moves a plan."""
    was = json.loads(before.inputs_json)
    result = json.loads(before.result_json)
    yield from _wishes(session, was, now)
    yield from _counts(session, before, was, result, now)
    there = {one["on"] for one in now["evenings"]}
    stands = _on(now["promised"])
    today = clock.today().isoformat()
    for one in result["evenings"]:
        if one["on"] >= today and one["on"] not in there | stands:
            yield f"{_day(one['on'])} is no evening any more."
    known = {one["on"] for one in was["evenings"]}
    fresh = [one["on"] for one in now["evenings"] if one["on"] not in known]
    if fresh and (not result["feasible"] or len(fresh) == 1):
        yield f"There {'is an evening' if len(fresh) == 1 else f'are {len(fresh)} evenings'} more: {_day(fresh[0])}."
    for name, record in now["rejects"].items():
        if name in was["rejects"]:
            old, new = _expected(was["rejects"][name]), _expected(record)
            if abs(new - old) >= MORE_REJECTS:
                yield f"Of {name}, {new:.0%} are expected to be rejected instead of {old:.0%}."
    for key, words in _BENCH.items():
        if was["bench"][key] != now["bench"][key]:
            yield words
    if was["confidence"] != now["confidence"]:
        yield f"It is to be enough with a chance of {now['confidence']:.0%} instead of {was['confidence']:.0%}."
    if _coming(was) != _coming(now):
        yield "What is on its way has changed."


_BENCH = {
    "pan_kg": "The pan holds another mass.",
    "over_pour": "The over-pour is another.",
    "test_pieces_kg": "Test pieces are of another mass.",
    "tools": "There are other numbers of rods.",
    "cure_days": "Grains cure for another time.",
    "most_held_kg": "Another mass of propellant may lie there.",
}


def _expected(record: Sequence[Sequence[int]]) -> float:
    return rejects_by_melt([(rejected, cast) for rejected, cast in record]).expected


def _coming(inputs: Inputs) -> list[tuple[str, str]]:
    today = inputs["today"]
    return sorted((one["ingredient"], one["on"]) for one in inputs["deliveries"] if one["on"] > today)


def _wishes(session: Session, was: Inputs, now: Inputs) -> Iterator[str]:
    """Wishes that are new, gone or otherwise; one that was fired is none of these."""
    before, after = ({one["wish_id"]: one for one in inputs["flights"]} for inputs in (was, now))
    for key, new in after.items():
        old = before.get(key)
        if old is None:
            yield f"{new['name']} is wanted now: {new['count']} by {_day(new['by'])}."
            continue
        if old["wished"] != new["wished"]:
            yield f"{new['name']} is wanted {new['wished']} times instead of {old['wished']}."
        if old["by"] != new["by"]:
            yield f"{new['name']} is wanted by {_day(new['by'])} instead of {_day(old['by'])}."
        if old["grains"] != new["grains"]:
            yield f"{new['name']} flies with {_words(new['grains'])} instead of {_words(old['grains'])}."
    for key, old in before.items():
        if key not in after and _struck(session, key):
            yield f"{old['name']} by {_day(old['by'])} was struck out."


def _struck(session: Session, wish_id: int) -> bool:
    wish = session.get(Wish, wish_id)
    return wish is None or wish.struck_at is not None


def _counts(session: Session, before: SeasonPlan, was: Inputs, result: Mapping[str, Any], now: Inputs) -> Iterator[str]:
    """Of each kind, whether the grains that lie there, are promised or were planned still come to what they did."""
    today = clock.today().isoformat()
    opened = kept_plans.opened_on(session, session.get_one(Season, before.season_id))
    stands = {day.isoformat() for day in opened}
    for name in now["kinds"]:
        if name not in was["kinds"]:
            continue
        planned = sum(
            _grains(one).get(name, 0) for one in result["evenings"] if one["on"] >= today and one["on"] not in stands
        )
        counted = [one for one in result["evenings"] if one["on"] >= today or one["on"] in stands]
        cast = sum(_grains(one).get(name, 0) for one in counted)
        old = _there(was, name) + cast - _wanted(was, name)
        new = _there(now, name) + planned - _wanted(now, name)
        changed = new - old + _more_wished(session, was, now, name)
        if changed < 0:
            rejected = _rejected_since(session, before, now["kinds"][name]["pattern_id"])
            because = f": {rejected} {'was' if rejected == 1 else 'were'} rejected" if rejected else ""
            yield f"There are {-changed} {name} fewer than the plan counted on{because}."
        elif changed > 0:
            yield f"There are {changed} {name} more than the plan counted on."


def _there(inputs: Inputs, name: str) -> int:
    lying = sum(one["count"] for one in inputs["shelf"] if one["pattern"] == name)
    return int(lying + sum(melt["grains"].get(name, 0) for melt in inputs["promised"]))


def _wanted(inputs: Inputs, name: str) -> int:
    return int(sum(flight["count"] * flight["grains"].get(name, 0) for flight in inputs["flights"]))


def _more_wished(session: Session, was: Inputs, now: Inputs, name: str) -> int:
    """Grains more that are wanted because the list changed, which is told by itself."""
    before, after = ({one["wish_id"]: one for one in inputs["flights"]} for inputs in (was, now))
    more: int = 0
    for key in {*before, *after}:
        old, new = before.get(key), after.get(key)
        if old is None and new is not None:
            more += int(new["count"] * new["grains"].get(name, 0))
        elif new is None and old is not None and _struck(session, key):
            more -= int(old["count"] * old["grains"].get(name, 0))
        elif old is not None and new is not None:
            each, was_each = new["grains"].get(name, 0), old["grains"].get(name, 0)
            more += (new["wished"] - old["wished"]) * each + (each - was_each) * old["count"]
    return more


def _rejected_since(session: Session, before: SeasonPlan, pattern_id: int) -> int:
    found = select(Grain.id).where(
        Grain.pattern_id == pattern_id, Grain.decision == "reject", col(Grain.decided_at) > before.made_at
    )
    return len(session.exec(found).all())
