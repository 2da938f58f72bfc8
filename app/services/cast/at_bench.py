"""What the bench view shows at this moment: one thing in front, and what is due next anywhere else beside it.

The rule, over all melts of the evening and in this order: a pan that is or may be too hot or is asked about; what the
person chose to see; what is due, the latest first; the next bowl, while no pan is hot; the next act of the hands that
has no time or comes within `SOON`; grains to weigh; the wait for what comes later; the closing. A melt whose turn at
the heat comes after another one's waits, and is told what comes first. Nothing is read from the book here.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

from app import clock
from app.models import CastStep
from app.services.cast import gate
from app.services.cast.casting import Running
from app.services.cast.pan import Standing
from app.services.cast.steps import Now, before, sets, settled
from app.services.cast.weigh_outs import PartNow

SOON = timedelta(minutes=3)
"""So long before its time an act comes to the front with its button; Grainbook's own choice."""

READ_AGAIN = timedelta(minutes=5)
"""How old a reading of a pan on the heat may be before it is asked for anew; Grainbook's own choice."""

Kind = Literal["hot", "asked", "step", "bowl", "held", "wait", "grains", "close"]

SAID = {
    "weigh": "All weighed",
    "melt": "Melted",
    "remelt": "Softened",
    "oxidiser": "Stirred in",
    "pour": "Poured",
    "core": "Cores set",
    "compact": "Compacted",
    "pull": "Cores pulled",
    "bag": "Bagged",
}
"""What a person says when an act is done, by its kind: the words of its button."""


NAMED = {
    "weigh": "weigh out",
    "melt": "melt",
    "remelt": "soften",
    "oxidiser": "stir in",
    "pour": "pour",
    "core": "set cores",
    "compact": "compact",
    "pull": "pull cores",
    "bag": "bag",
}
"""What an act is called beside another one, by its kind."""


@dataclass(frozen=True)
class Act:
    """A step of one melt that can be done now, is timed, or waits for hands."""

    run: Running
    step: CastStep
    now: Now | None
    """Nothing where the step cannot be done yet."""
    several: bool
    """Whether its evening has several sets or melts, so that it must be said which one this is of."""
    after: Running | None = None
    """The melt on the heat that is poured before this can be done; nothing where none is in its way."""

    @property
    def key(self) -> str:
        """How an address names it."""
        return f"step-{self.step.pk}"

    @property
    def due_at(self) -> datetime | None:
        """When it is due; nothing where it has no time, or cannot be done yet."""
        return self.now.due_at if self.now else None

    @property
    def kind(self) -> str:
        """The kind of act, as the run sheet has it: compact, pour."""
        return self.step.key.partition(":")[0]

    @property
    def said(self) -> str:
        """The words of its button."""
        return SAID.get(self.kind, "Done")

    @property
    def kind_words(self) -> str:
        """What it is in a word or two, where it is not in front."""
        return NAMED.get(self.kind, self.line)

    @property
    def line(self) -> str:
        """What to do in one line: the first sentence of its words."""
        return parted(self.step.words)[0]

    @property
    def rest(self) -> str:
        """What its words say after the first sentence."""
        return parted(self.step.words)[1]

    @property
    def of(self) -> str:
        """Which melt and set it is of; empty where there is one only."""
        if not self.several:
            return ""
        word = "" if len(self.run.cast.melts) > 1 else "set "  # beside other melts it is named as on the time line
        of_set = f"{word}{self.step.set_number}" if self.step.set_number and sets(self.run.melt) > 1 else ""
        return " ".join(part for part in (self.run.batch.code, of_set) if part)


@dataclass(frozen=True)
class Screen:
    """What is in front, and what stands beside it."""

    kind: Kind
    run: Running
    """The melt that the front is of."""
    act: Act | None
    """The step in front, of a step and of a wait."""
    bowl: PartNow | None
    bowls: list[PartNow]
    others: list[Act]
    """The next act of each other set and melt, what is due first on top."""
    pan: Running | None
    """The melt whose pan is shown; nothing once all is poured."""
    renew_s: float | None
    """When the front may change by time alone [s]."""
    first: Act | None = None
    """What is done before what was asked for: the next act of the melt that is on the heat."""

    @property
    def front(self) -> str:
        """How an address names what is in front."""
        if self.bowl is not None:
            return f"bowl-{self.bowl.part.pk}"
        return self.act.key if self.act else self.kind


def parted(words: str) -> tuple[str, str]:
    """A line of the run sheet as its first sentence (or its first part, where that is long) and what follows."""
    first, *rest = re.split(r"(?<=[.!?;]) +", words.strip(), maxsplit=1)
    return first.rstrip(";"), rest[0] if rest else ""


def screen(
    runs: list[Running],
    pans: Mapping[int, Standing | None],
    bowls: Mapping[int, list[PartNow]],
    to_weigh: Mapping[int, int],
    chosen: str = "",
) -> Screen:
    """What the bench view of an evening shows.

    Parameters
    ----------
    runs
        The melts of one open evening, one at least.
    pans, bowls, to_weigh
        By the identity of the batch: how its pan stands, its recipe with what was weighed, and how many of its grains
        are not weighed yet [-].
    chosen
        What the person asked to see, as `Act.key` or `bowl-7`; what is not there is passed over.
    """
    runs = sorted(runs, key=lambda run: run.melt.number)
    heated = [run for run in runs if on_heat(run)]
    acts = _acts(runs, heated)
    ready = [act for act in acts if act.now is not None and act.after is None]
    pan = next(iter(heated), None) or next((run for run in runs if not _poured(run)), None)
    open_bowls = {} if heated else {run.batch.pk: bowls[run.batch.pk] for run in runs if _weighing(run)}

    def shown(
        kind: Kind, run: Running, act: Act | None = None, bowl: PartNow | None = None, first: Act | None = None
    ) -> Screen:
        mine = (run.batch.pk, act.step.set_number if act else 0) if kind not in ("hot", "asked", "grains") else None
        others = [one for one in _first_of_each(acts) if (one.run.batch.pk, one.step.set_number) != mine]
        if kind in ("hot", "asked"):  # what is to do at that pan waits
            others = [one for one in others if one.run is not run or not gate.hot(one.step)]
        if bowl is not None or (kind == "held" and first is None):
            others = [one for one in others if one.kind != "weigh" or one.run is not run]
        of_run = bowls.get(run.batch.pk, []) if bowl is not None else []
        return Screen(
            kind, run, act, bowl, of_run, others, run if kind in ("hot", "asked") else pan, _renew(ready), first
        )

    for kind in ("hot", "asked"):
        for run in runs:
            standing = pans.get(run.batch.pk)
            if standing is not None and (standing.hot if kind == "hot" else standing.asked):
                return shown("hot" if kind == "hot" else "asked", run)
    for act in acts:
        if act.key != chosen and (act.kind != "weigh" or chosen not in _bowls_of(bowls, act.run)):
            continue
        if act.after is not None:
            return shown("held", act.run, first=next((one for one in ready if one.run is act.after), None))
        if act.now is not None and act.key == chosen and not (act.kind == "weigh" and heated):
            return shown("step", act.run, act)
    if chosen == "close":
        return shown("close", runs[0])
    for run in runs:
        for part in open_bowls.get(run.batch.pk, []):
            if chosen == f"bowl-{part.part.pk}" and not run.held:
                return shown("bowl", run, bowl=part)
    moment, timed = clock.now(), sorted(((act.due_at, act) for act in ready if act.due_at), key=lambda pair: pair[0])
    if timed and timed[0][0] <= moment:
        return shown("step", timed[0][1].run, timed[0][1])
    for run in runs:
        if run.batch.pk in open_bowls:
            if run.held:
                return shown("held", run)
            bowl = next_bowl(open_bowls[run.batch.pk])
            return shown("bowl", run, bowl=bowl) if bowl else shown("step", run, _weigh_act(ready, run))
    hands = [act for act in ready if act.due_at is None and act.kind != "weigh"]
    hands.sort(key=lambda a: not on_heat(a.run))
    if hands:
        first = hands[0]
        held = first.run.held and gate.hot(first.step) and not _begun(first.run)
        return shown("held" if held else "step", first.run, None if held else first)
    if timed and timed[0][0] - moment <= SOON:
        return shown("step", timed[0][1].run, timed[0][1])
    for run in runs:
        if to_weigh.get(run.batch.pk) and _pulled(run):
            return shown("grains", run)
    if timed:
        return shown("wait", timed[0][1].run, timed[0][1])
    left = next((run for run in runs if to_weigh.get(run.batch.pk)), None)
    return shown("grains", left) if left and any(_poured(run) for run in runs) else shown("close", runs[0])


def next_bowl(bowls: Iterable[PartNow]) -> PartNow | None:
    """The bowl to weigh next: one that nothing is in, then one that more is wanted in; nothing when all are done."""
    rows = list(bowls)
    for state in ("open", "near"):
        for part in rows:
            if part.state == state:
                return part
    return None


def on_heat(run: Running) -> bool:
    """Whether a melt's pan is hot: something was melted in it, and not all of it is poured."""
    return _begun(run) and not _poured(run)


# --- Small questions about a melt --------------------------------------------------------------------


def _begun(run: Running) -> bool:
    return any(gate.hot(s) and s.key != "weigh" and s.done_at is not None for s in run.melt.steps)


def _poured(run: Running) -> bool:
    pours = [s for s in run.melt.steps if s.key == "pour"]
    return bool(pours) and all(settled(s) for s in pours)


def _pulled(run: Running) -> bool:
    return any(s.key == "pull" and s.done_at is not None for s in run.melt.steps)


def _bowls_of(bowls: Mapping[int, list[PartNow]], run: Running) -> set[str]:
    return {f"bowl-{part.part.pk}" for part in bowls.get(run.batch.pk, [])}


def _weighing(run: Running) -> bool:
    return any(now.step.key == "weigh" for now in run.coming)


def _weigh_act(acts: list[Act], run: Running) -> Act:
    return next(act for act in acts if act.run is run and act.kind == "weigh")


def _acts(runs: list[Running], heated: list[Running]) -> list[Act]:
    """The next step of each set of each melt, whether it can be done now or waits for hands; as it comes up."""
    found = []
    for run in runs:
        several = len(runs) > 1 or sets(run.melt) > 1
        other = next((hot for hot in heated if hot is not run), None) if not on_heat(run) else None
        found += [Act(run, now.step, now, several, other if gate.hot(now.step) else None) for now in run.coming]
        for number in range(2, sets(run.melt) + 1):
            if any(now.step.set_number == number for now in run.coming) or not _pour_of(run, number - 1):
                continue
            first = next((s for s in run.melt.steps if s.set_number == number and not settled(s)), None)
            if first is not None and any(not settled(s) for s in before(run.melt, first)):
                found.append(Act(run, first, None, several))
    return found


def _pour_of(run: Running, number: int) -> bool:
    return any(s.set_number == number and s.key == "pour" and settled(s) for s in run.melt.steps)


def _first_of_each(acts: list[Act]) -> list[Act]:
    """One act of each set of each melt: what is timed by its time, then what has none."""
    timed = sorted(((act.due_at, act) for act in acts if act.due_at), key=lambda pair: pair[0])
    seen: dict[tuple[int, int], Act] = {}
    untimed = sorted((act for act in acts if act.due_at is None), key=lambda act: act.now is None or bool(act.after))
    for act in (*(act for _, act in timed), *untimed):
        seen.setdefault((act.run.batch.pk, act.step.set_number), act)
    return list(seen.values())


def _renew(ready: list[Act]) -> float | None:
    """When the next act comes to the front by time alone [s]."""
    moment = clock.now()
    turns = [at for act in ready if act.due_at for at in (act.due_at - SOON, act.due_at)]
    return min(((at - moment).total_seconds() for at in turns if at > moment), default=None)
