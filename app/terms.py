"""The words of the book, each told in a sentence or two: one list for the page of words and for help at one touch.

Definitions are those of the trade (Sutton & Biblarz, Rocket Propulsion Elements, from memory) and of statistics
(NIST/SEMATECH e-Handbook), unless a source stands beside one; what is the book's own says so by its kind. Figures stand
here only with their source.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

Kind = Literal["trade", "statistics", "book"]


@dataclass(frozen=True)
class Term:
    """What a word is.

    Attributes
    ----------
    told : str
        What it is, continuing the sentence that the word begins.
    kind : {"trade", "statistics", "book"}
        Whose word it is; one of the book is explained on the page of words alone, as every page is made of it.
    also : tuple of str
        Other words for the same, or other forms of it, as labels have them.
    """

    told: str
    kind: Kind = "trade"
    also: tuple[str, ...] = ()


TERMS: Mapping[str, Term] = {
    "apogee": Term("the highest point of a flight."),
    "bands": Term(
        "stretches of pressure in which a burn rate follows one power law each. Where two meet, the law is blended.",
        also=("band",),
    ),
    "burn rate": Term(
        "how fast a burning face moves into the propellant, square to it. It follows pressure: r = a·Pⁿ.",
        also=("burn rates",),
    ),
    "burn time": Term(  # NFPA 1125, quoted second hand; action time from 10 %: Sutton & Biblarz, from memory
        "how long thrust stands above 5 % of its peak (NFPA 1125, quoted second hand). Other definitions are in use, "
        "such as action time, above 10 %: figures compare only by the same one."
    ),
    "c*": Term(
        "characteristic velocity: pressure times throat area, over the mass that flows out in a second. It tells how "
        "much a propellant and its burning give, whatever the nozzle does behind the throat.",
        also=("characteristic velocity",),
    ),
    "ceiling": Term("the height above ground up to which a field may be flown: its waiver, its owner or its rules."),
    "chuff": Term("lighting, going out and lighting again, once or several times.", also=("chuffed",)),
    "combustion efficiency": Term(
        "the c* that a motor delivers, over the ideal one of its formula: what unburned propellant, water and heat to "
        "the wall take away.",
        also=("c* efficiency",),
    ),
    "condensed share": Term(  # about 44 %: DARE, TU Delft, and the own figures
        "what part of the mass that leaves the nozzle is liquid or solid and not gas. With potassium nitrate it is "
        "mostly potassium carbonate, and close to half: it carries heat and pushes little."
    ),
    "core": Term("the hole along a grain, along which it burns; gas leaves through it.", also=("cores", "coring")),
    "cure": Term(
        "the time between the pour and a grain that may be fired: it hardens and settles in its bag, dry.",
        also=("cured", "curing"),
    ),
    "divergence half angle": Term("the angle between the nozzle's axis and the wall of its exit cone."),
    "drag coefficient": Term(
        "drag over dynamic pressure and reference area. It says nothing without the area that it was taken with."
    ),
    "drogue": Term("a small parachute that opens first, at apogee, so that the rocket comes down fast and steady."),
    "ejection delay": Term(
        "the time from burnout until the motor's own charge pushes the parachute out; best at apogee.",
        also=("delay planned", "delay as it was", "ejection"),
    ),
    "elevation": Term("the height of a field above sea level. Air pressure there follows from it."),
    "erosive burning": Term(
        "propellant that burns faster, or is carried off, where gas rushes along a narrow core: a peak of pressure as "
        "the motor lights. The book does not model it; it shows what your own curves say."
    ),
    "expansion": Term("the area of the nozzle's exit over that of its throat.", also=("expansion ratio",)),
    "exponent n": Term(
        "n of r = a·Pⁿ: how strongly burn rate follows pressure. Near 1 a motor's pressure runs away.",
        also=("exponent",),
    ),
    "ideal density": Term(
        "the density of a formula without any void, from its parts alone. A grain is judged by its share of it.",
        also=("of ideal",),
    ),
    "impulse": Term("thrust summed up over the burn: what a motor gives in all.", also=("total impulse",)),
    "impulse class": Term(  # NFPA 1125, quoted second hand, as in calc/motor/impulse.py
        "a letter for a motor's impulse: each stands for up to twice as much as the one before it (NFPA "
        "1125, quoted second hand). With the mean thrust in newtons behind it, it names a motor's strength. Codes of "
        "lots, grains and motors are none.",
        also=("impulse classes",),
    ),
    "inhibited face": Term(
        "a face that is kept from burning by its tube, paper or glue.",
        also=("inhibitor", "inhibited", "faces that burn"),
    ),
    "Kn": Term(
        "burning surface over throat area. More surface or a smaller throat raises it, and with it the pressure; along "
        "the burn it follows the shape of the grains."
    ),
    "L/D": Term("length over diameter, of a grain or of the whole column of propellant."),
    "liner": Term("a tube or layer between propellant and case that keeps the heat off the wall."),
    "Mach": Term("speed over the speed of sound where the rocket is."),
    "mass flux": Term(
        "mass that flows through a square of the core's section in a second, highest at the nozzle's end. The higher, "
        "the more gas strips the core."
    ),
    "nozzle efficiency": Term("the thrust that a nozzle gives, over what theory says for its pressure and throat."),
    "over-pour": Term("melt that is made above what the grains need: for what sticks to the pan, spills and shrinks."),
    "port to throat ratio": Term(
        "area of the core at the nozzle's end over throat area. Near 1, gas rushes along the core and may strip it.",
        also=("port to throat", "port over throat"),
    ),
    "proof test": Term(
        "a case filled with water and pressed beyond what it will meet, so that it gives there and not on the stand.",
        also=("proof-tested",),
    ),
    "rail guides": Term("what holds a rocket to its rail until it is fast enough to fly straight."),
    "reference area": Term(
        "the area that a drag coefficient is taken with, mostly the body's largest section.",
        also=("reference diameter",),
    ),
    "remelt": Term("clean leftovers melted again into a batch of the same formula.", also=("remelts",)),
    "spacer": Term("a ring or tube that fills what length of the case the grains leave free.", also=("spacers",)),
    "specific impulse": Term(
        "impulse over the weight of the propellant burned, in seconds: how much it gives for what it weighs."
    ),
    "tail-off": Term("the fall of pressure after the web is burned through."),
    "throat": Term(
        "the narrowest part of the nozzle. Pressure answers to its area, so it is measured before each motor.",
        also=("throats", "throat diameter"),
    ),
    "void": Term(
        "a bubble or hollow in a grain. When the burn reaches it, surface and pressure rise.", also=("voids",)
    ),
    "web": Term(
        "the least thickness of propellant that burns through, from one burning face to the next or to the wall."
    ),
    "yield strength": Term(
        "the stress at which metal begins to stay bent. It falls with heat, and the least that the maker warrants "
        "counts, not what is typical."
    ),
    # --- statistics
    "bias": Term(
        "how far a method or an instrument is off on the whole, however many times it is asked.",
        "statistics",
        also=("off by",),
    ),
    "chance": Term(
        "how often values would lie so far apart, or go together so well, if nothing but luck were behind it: p. A "
        "small one speaks against luck.",
        "statistics",
        also=("no more than chance",),
    ),
    "EWMA": Term(
        "a running average in which older values count less and less: it sees a slow drift sooner than single values "
        "do (NIST/SEMATECH e-Handbook 6.3.2.4).",
        "statistics",
        also=("running average",),
    ),
    "Holm": Term(
        "a correction for asking many questions of the same few firings: by chance alone one in twenty looks like "
        "something. A p after Holm is already made larger for how many were asked.",
        "statistics",
    ),
    "individuals chart": Term(
        "single values in their order, with limits made of how much neighbours differ: what lies outside is likely "
        "no chance (NIST/SEMATECH e-Handbook 6.3.2.2).",
        "statistics",
        also=("one by one",),
    ),
    "nine in ten": Term(
        "a range that should hold nine of ten such motors or firings; one of ten lies outside it. “Did the ranges "
        "hold?” counts whether they did.",
        "statistics",
        also=("range", "ranges", "90 % interval", "interval", "intervals"),
    ),
    "prior": Term(
        "what is believed before your own firings say anything: the book's defaults with their width. Each firing "
        "narrows it.",
        "statistics",
        also=("by default",),
    ),
    "Spearman": Term(
        "how well two things go up and down together, by their order alone: from −1, one falls as the other rises, "
        "to 1. It says nothing of causes.",
        "statistics",
        also=("spearman’s", "ρ"),
    ),
    "spread": Term("standard deviation: how far single values typically lie from their mean.", "statistics"),
    "Welch": Term(
        "a test whether the means of two groups differ by more than chance, groups of unlike spread too.", "statistics"
    ),
    # --- the book's own
    "batch": Term("one pan of one formula, weighed out, melted and poured; the lot is what comes of it.", "book"),
    "book": Term("the file with everything you entered: one for a workshop.", "book"),
    "bowl": Term("what one ingredient is weighed into, at the bench.", "book"),
    "chain": Term("what a thing came from and what it became: bag, batch, grain, motor, firing.", "book"),
    "checklist": Term("the lines that are looked at and signed before anything is hot.", "book"),
    "compaction": Term(
        "pressing a cooling grain in its tube, so that no hollow stays.", "book", also=("compact", "compacted")
    ),
    "correction": Term("a new value beside an old one, with the reason; the old one stays readable.", "book"),
    "demo": Term("the demonstration book: invented numbers, to look around in.", "book"),
    "density share": Term("a grain's density over the ideal one of its formula.", "book"),
    "edition": Term("one state of the checklist or of the run sheet; older ones stay readable.", "book"),
    "evening": Term(
        "a cast session: opened by the whole checklist, with one melt or several, closed once.",
        "book",
        also=("session", "cast session"),
    ),
    "firing": Term("a motor burned, on the stand (static test) or in a rocket (flight).", "book", also=("firings",)),
    "formula": Term("a blend by mass. A version that was used never changes; an edit makes the next.", "book"),
    "grain pattern": Term("the sizes of a grain, and which of its faces burn.", "book", also=("pattern", "patterns")),
    "hold": Term("to keep a grain out of motors until it is looked into.", "book"),
    "incident": Term("what went wrong at the pan; a near miss is what nearly did.", "book", also=("near miss",)),
    "look": Term("what you see of a grain: its faces, outer face and inhibitor.", "book"),
    "lot": Term(
        "all grains of one batch. Its code 2611P is year, month and a letter from P on, for the batch of that month "
        "(then PP, PQ and on); a letter up to O would read like an impulse class. Older codes such as 26K3 stay "
        "valid, typed or scanned.",
        "book",
        also=("lots",),
    ),
    "melt": Term("one pan of an evening; a batch while it is hot.", "book", also=("melts",)),
    "motor code": Term("26-031 is the year and the number of the motor in it. Older codes stay valid.", "book"),
    "pan": Term("the pot that a batch is melted in, with its limit of temperature.", "book"),
    "re-weigh": Term(
        "weighing a grain again on the shelf, to see whether it drew water.", "book", also=("re-weighed", "re-weighs")
    ),
    "retire": Term("to take a thing out of the lists you choose from; what was made with it stays.", "book"),
    "run sheet": Term("the steps of a cast with their times and the pan's temperatures.", "book"),
    "season": Term("the flights and static tests that are wished for, and what they ask to be cast.", "book"),
    "serial": Term("lot code and number of the grain: 2611P-04.", "book"),
    "set": Term("grains that go into one motor, or that are poured together.", "book", also=("sets",)),
    "shelf": Term("where grains cure and wait, each in its bag.", "book"),
    "stick": Term(
        "a thin rod of a lot, burned in the open to see its burn rate: a test piece; the trade says strand.",
        "book",
        also=("sticks", "test piece", "test pieces"),
    ),
    "strike out": Term("to take a value out of all figures with a reason; it stays readable, crossed out.", "book"),
    "supply": Term("one bag of an ingredient, as bought.", "book", also=("supplies", "bag", "bags")),
    "undo": Term("to reverse what was saved a moment ago, with one touch and without a reason.", "book"),
    "verdict": Term("what the book says of a grain's numbers; the decision is yours.", "book"),
}
"""Each word with what it is, by its kind and the alphabet."""


def slug(word: str) -> str:
    """A word as an identifier on a page.

    >>> slug("c*"), slug("L/D"), slug("port to throat ratio")
    ('c-star', 'l-d', 'port-to-throat-ratio')
    """
    return re.sub(r"[^a-z0-9]+", "-", word.lower().replace("*", "-star")).strip("-")


def _pattern(words: str) -> str:
    return r"(?<![\w*/-])" + re.escape(words) + r"(?![\w*/-])"


_EXPLAINED = sorted(
    ((word, name) for name, term in TERMS.items() if term.kind != "book" for word in (name, *term.also)),
    key=lambda pair: -len(pair[0]),
)
_FOUND = re.compile("|".join(f"({_pattern(word)})" for word, _ in _EXPLAINED), re.IGNORECASE)


def explained(words: str) -> tuple[str, str, str, str]:
    """A label parted at the word in it that needs help: what stands before, that word, what stands behind, its term.

    Where it has none all stands before; of several it is the first.

    >>> explained("Port over throat, at least"), explained("Length")
    (('', 'Port over throat', ', at least', 'port to throat ratio'), ('Length', '', '', ''))
    """
    found = _FOUND.search(words)
    if found is None or found.lastindex is None:
        return words, "", "", ""
    return words[: found.start()], found[0], words[found.end() :], _EXPLAINED[found.lastindex - 1][1]
