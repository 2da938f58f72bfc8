"""The run sheet: the workshop's own order, words, pan bands and times, and the steps made from it for a batch.

Times after the pour are common practice, no source.
"""

from dataclasses import asdict, dataclass

from sqlmodel import Session

from app.calc.propellant.ingredients import INGREDIENTS
from app.calc.propellant.recipe import to_melt_order
from app.errors import Refused
from app.models import Batch, CastStep, Melt, RunSheet, RunSheetLine, Workshop
from app.models.runsheet import RunSheetIn, RunSheetLineIn
from app.services.book import workshop
from app.services.cast import editions
from app.services.stock import batches

MINUTE = 60.0
KINDS = {
    "weigh": "Weigh out",
    "sugar": "Each sugar",
    "remelt": "Each leftover",
    "oxidiser": "Each third of the oxidiser",
    "pour": "Pour",
    "core": "Set the cores",
    "compact": "Compact",
    "pull": "Pull the cores",
    "bag": "Bag",
    "other": "Something else",
}
ONCE = ("weigh", "sugar", "remelt", "oxidiser", "pour", "core", "pull", "bag")
BEFORE_POUR = ("weigh", "sugar", "remelt", "oxidiser")
HOT = ("sugar", "remelt", "oxidiser", "pour")
"""Steps at which the pan is in its band, unless a line says otherwise."""
DOTS = "…"


@dataclass(frozen=True)
class Line:
    """A line of the sheet: what to do, how long after what, and the pan's band [s, K]."""

    kind: str
    words: str
    after: str = ""
    after_s: float | None = None
    pan_low_k: float | None = None
    pan_high_k: float | None = None


FIRST_LINES = (
    Line("weigh", "Weigh out, each thing into its own dry bowl. Oxidiser and sugars are never ground together."),
    Line("sugar", "… and stir until it is clear."),
    Line("remelt", "Break the leftover small, add it and let it soften."),
    Line("oxidiser", "…; wait until the melt is smooth and warm again."),
    Line("pour", "Pour the tubes and the test pieces. Heat off."),
    Line("core", "Set the coring rods, straight and down to the stop.", "pour", 3 * MINUTE),
    Line("compact", "Compact the first time.", "pour", 18 * MINUTE),
    Line("compact", "Compact again.", "before", 10 * MINUTE),
    Line("compact", "Compact the last time.", "before", 10 * MINUTE),
    Line("pull", "Pull the cores. Left in overnight, the rods seize.", "pour", 90 * MINUTE),
    Line("bag", "Bag the grains with desiccant, the same evening.", "pour", 360 * MINUTE),
)
"""The sheet a book starts with: common practice, no source."""


# --- Editions ----------------------------------------------------------------------------------


def of_melt(session: Session, melt: Melt) -> RunSheet | None:
    """The edition that a melt was made from."""
    return session.get(RunSheet, melt.run_sheet_id) if melt.run_sheet_id is not None else None


def first(session: Session) -> RunSheet:
    """Give a new book its first edition."""
    return editions.make(session, RunSheet, "As the book came.", [asdict(line) for line in FIRST_LINES])


def new_edition(session: Session, data: RunSheetIn, seen: int | None = None) -> RunSheet:
    """Make a new edition; `seen` is the number of the one that the person started from.

    Raises
    ------
    Conflict
        Another edition was made since.
    Refused
        The order cannot be worked in, a time or band does not hold together, or nothing differs.
    """
    editions.claim(session, RunSheet, seen, "run sheet")
    shop = workshop.get(session)
    lines = [_line(i, line, shop) for i, line in enumerate(data.lines)]
    _in_order(lines)
    return editions.make(session, RunSheet, data.note, [asdict(line) for line in lines])


def _line(number: int, typed: RunSheetLineIn, shop: Workshop) -> Line:
    def refuse(words: str, field: str) -> None:
        raise Refused(words, field=f"lines.{number}.{field}")

    if typed.wait is not None and not typed.after:
        refuse("Choose what the time is counted from.", "after")
    if typed.after and typed.wait is None:
        refuse("Type how long after it, in minutes, or choose “not timed”.", "wait")
    if typed.after == "before" and number == 0:
        refuse("There is no step before the first one.", "after")
    low, high = typed.pan_low, typed.pan_high
    if low is not None and high is not None and low.si >= high.si:
        refuse(f"The pan's upper end must be above {low.typed}.", "pan_high")
    if high is not None and high.si > shop.pan_limit_k + 1e-3:
        refuse(
            "That is above the workshop's own limit for the pan. Lower it here, or look at the limit in Settings "
            "first.",
            "pan_high",
        )
    if low is not None and low.si >= shop.pan_limit_k:
        refuse("That is not below the workshop's own limit for the pan.", "pan_low")
    return Line(
        typed.kind,
        typed.words,
        typed.after,
        typed.wait.si if typed.wait else None,
        low.si if low else None,
        high.si if high else None,
    )


def _in_order(lines: list[Line]) -> None:
    """Refuse an order that cannot be worked in."""
    kinds = [line.kind for line in lines]
    for kind in ONCE:
        count = kinds.count(kind)
        if count != 1:
            fault = "is missing; add it" if count == 0 else "stands there more than once; keep one"
            raise Refused(f"The line “{KINDS[kind]}” {fault}.", field="lines")
    if kinds[0] != "weigh":
        raise Refused("“Weigh out” comes first.", field="lines")
    if kinds.index("oxidiser") < kinds.index("sugar"):
        raise Refused("The sugars melt before the oxidiser goes in.", field="lines")
    pour = kinds.index("pour")
    for number, line in enumerate(lines):
        if (line.kind in BEFORE_POUR) != (number < pour) and line.kind not in ("pour", "other"):
            side = "before" if line.kind in BEFORE_POUR else "after"
            raise Refused(f"“{KINDS[line.kind]}” comes {side} the pour.", field=f"lines.{number}.kind")
        if line.after == "pour" and number <= pour:
            raise Refused(
                "This step comes before the pour; count its time from the step before it.",
                field=f"lines.{number}.after",
            )
    if not kinds.index("core") < kinds.index("pull") < kinds.index("bag"):
        raise Refused("Cores are set, then pulled, then the grains are bagged.", field="lines")


# --- The steps for a batch -----------------------------------------------------------------------


def lay_out(session: Session, batch: Batch, sheet: RunSheet | None = None) -> list[CastStep]:
    """The steps for a batch by an edition of the sheet (the newest unless told), not yet in the book.

    A line for the sugars or the oxidiser becomes one step for each thing that goes in, in melt order; three dots
    in its words stand for what goes in.
    """
    shop = workshop.get(session)
    blend = batches.formula_of(session, batch).blend
    made: list[CastStep] = []
    for line in (sheet or editions.now_used(session, RunSheet)).lines:
        for key, what in _things(line.kind, batch, blend, made):
            made.append(_step(line, key, what, made, shop))
    return made


def _things(kind: str, batch: Batch, blend: dict[str, float], made: list[CastStep]) -> list[tuple[str, str]]:
    """Key and contents of each step that a line stands for."""
    if kind == "remelt":
        return [(f"remelt:{part.leftover_id}", "") for part in batch.parts if part.leftover_id is not None]
    if kind in ("sugar", "oxidiser"):
        in_pan = {part.ingredient for part in batch.parts}
        found = [s for s in to_melt_order(blend) if s.key in in_pan and INGREDIENTS[s.key].kind == kind]
        if kind == "sugar":
            return [(f"melt:{step.key}", step.words) for step in found]
        return [(f"oxidiser:{number}", step.words) for number, step in enumerate(found, start=1)]
    if kind in ("compact", "other"):
        number = sum(step.key.partition(":")[0] == kind for step in made) + 1
        return [(f"{kind}:{number}", "")]
    return [(kind, "")]


def _step(line: RunSheetLine, key: str, what: str, made: list[CastStep], shop: Workshop) -> CastStep:
    words = line.words
    if what:
        words = words.replace(DOTS, what) if DOTS in words else f"{what}. {words}"
    after = {"": None, "pour": "pour", "before": made[-1].key if made else None}[line.after]
    hot = line.kind in HOT
    low = line.pan_low_k if line.pan_low_k is not None else (shop.pan_low_k if hot else None)
    high = line.pan_high_k if line.pan_high_k is not None else (shop.pan_limit_k if hot else None)
    return CastStep(
        melt_id=0,
        set_number=int(any(s.key == "pour" for s in made) or key == "pour"),
        position=len(made) + 1,
        key=key,
        words=words,
        after_key=after,
        after_s=line.after_s if after else None,
        pan_low_k=low,
        pan_high_k=high,
    )


def usual_s(steps: list[CastStep], step: CastStep) -> float | None:
    """When a step is due after the pour of its set if every step is on time [s]; nothing before the pour."""
    if step.key == "pour" or step.after_key is None or step.after_s is None:
        return 0.0 if step.key == "pour" else None
    before = next(
        (s for s in steps if s.key == step.after_key and s.set_number in (step.set_number, 0) and s is not step), None
    )
    base = usual_s(steps, before) if before is not None else None
    return None if base is None else base + step.after_s
