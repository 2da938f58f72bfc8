"""What stands in the way where a search finds nothing that is possible."""

import numpy as np

from app.calc.base.notes import Note, joined
from app.calc.season.choosing import Choices, Standing
from app.calc.season.refusals import refusals
from app.calc.season.screening import KINDS


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
    The reason that stands before most designs comes first, with the nearest change of the design that lies nearest to
    the wish among those that it alone refuses.

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
    for index in choices.order:
        one = refusals(choices, int(index)) if every[index] in {int(fault) for fault in KINDS} else ()
        if one and one[0].change is not None:
            words = designs.stacks[designs.stack[index]].words(house.patterns)
            nearest = f"Nearest to the wish is {words} in {house.cases[designs.case[index]].name}. It would take:"
            said += [nearest, joined(one[0].change, ".", between="")]
            break
    return joined(*said)
