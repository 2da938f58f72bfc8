"""What stands in the way where a search finds nothing that is possible."""

from collections.abc import Iterator
from itertools import islice

import numpy as np

from app.calc.base.notes import Amount, Note, joined
from app.calc.season.choosing import Choices, Standing, misses
from app.calc.season.lifting import lifted
from app.calc.season.screening import KINDS, Fault
from app.calc.season.tables import Ints

TRIED = 6
"""So many designs are changed until one is possible, at most [-]."""


def why_not(choices: Choices) -> Note | None:
    """Tell what stands in the way where nothing is possible.

    Parameters
    ----------
    choices : Choices
        A search.

    Returns
    -------
    Note or None
        In words; nothing where something is possible, or where a search was stopped or asked to range none [-].

    Notes
    -----
    The reason that stands before most designs comes first. Then designs near the wish, those with the fewest reasons
    first, are changed until nothing speaks against them (`lifting`), up to `TRIED` of them; what was seen to work is
    told, or that nothing was.

    References
    ----------
    Counting.

    Examples
    --------
    >>> from app.calc.season.choosing import choose
    >>> from app.calc.season.hardware import Hardware
    >>> str(why_not(choose(Hardware((), (), (), ()))))
    'There is no case, no nozzle, no grain and no formula to make a motor of.'
    """
    house, designs = choices.designs.hardware, choices.designs
    if choices.best:
        return None
    if not len(designs):
        lists = {"case": house.cases, "nozzle": house.nozzles, "grain": house.patterns, "formula": house.formulas}
        none = [f"no {what}" for what, there in lists.items() if not there]
        listed = " and ".join(filter(None, (", ".join(none[:-1]), *none[-1:])))
        if none:
            return Note(f"There is {listed} to make a motor of.")
        return joined("Nothing goes together.", *designs.left_out)
    waiting = sum(choices.standing(i) in (Standing.NOT_RANGED, Standing.NOT_SEEN) for i in range(len(designs)))
    every = np.array([int(choices.faults(i)) for i in range(len(designs))])
    counts = {fault: int((every & int(fault) > 0).sum()) for fault in KINDS}
    common = sorted((fault for fault in KINDS if counts[fault]), key=lambda fault: -counts[fault])
    seen = ", as far as they were looked at" if waiting else ""
    said: list[Note | str] = [f"None of {len(designs)} designs is possible{seen}."]
    for fault in common[:3]:
        said.append(f"{KINDS[fault].capitalize()}: {counts[fault]}.")
    return joined(*said, *_lifted(choices, every))


def _lifted(choices: Choices, every: Ints) -> Iterator[Note | str]:
    """The least changes that were seen to make a design possible, in words."""
    tried = list(islice(_nearest(choices, every), TRIED))
    found: tuple[int, tuple[Note, ...]] | None = None
    for index in tried:
        changes = lifted(choices, index)
        if changes and (found is None or len(changes) < len(found[1])):
            found = index, changes
        if found and len(found[1]) == 1:
            break
    if found:
        index, changes = found
        yield joined("Nearest is", joined(_words(choices, index), ".", between=""))
        if len(changes) > 1:
            yield "No single change is enough for it."
        yield joined(
            "It would take ", joined(*changes, between=", and "), ": then nothing speaks against it.", between=""
        )
        return
    if tried:
        yield (
            f"The {len(tried)} nearest were changed in throat, core, mass, wind and delay, several of them together; "
            "none became possible."
        )


def _words(choices: Choices, index: int) -> Note:
    designs, house = choices.designs, choices.designs.hardware
    stack = designs.stacks[designs.stack[index]].words(house.patterns)
    words = f"{stack} in {house.cases[designs.case[index]].name} with {house.nozzles[designs.nozzle[index]].name}"
    if designs.drilled[index] > 0:
        return Note(f"{words} drilled to {{throat}}", {"throat": Amount(float(designs.throat_d[index]), "length", 1)})
    return Note(words)


def _nearest(choices: Choices, every: Ints) -> Iterator[int]:
    """Designs by whether they reach the wish, then by how many reasons stand against them, then by the rule; of the
    same grains in the same case one.
    """
    wish = choices.launch.wish if choices.launch is not None else None
    off = misses(choices.expected.apogee, wish) > 0
    seen: set[tuple[int, int, int]] = set()
    place = {int(index): number for number, index in enumerate(choices.order)}
    refused = [i for i in range(len(every)) if every[i] and not every[i] & int(Fault.PARTS)]
    for i in sorted(refused, key=lambda i: (bool(off[i]), int(every[i]).bit_count(), place[i])):
        key = (int(choices.designs.stack[i]), int(choices.designs.case[i]), int(choices.designs.formula[i]))
        if key not in seen:
            seen.add(key)
            yield i
