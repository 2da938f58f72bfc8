"""How far persons stay away by class: a person's own figures first, then the printed tables; and where the law is."""

from dataclasses import dataclass

from sqlmodel import Session, select

from app import clock
from app.calc.motor.impulse import CLASS_LIMITS
from app.errors import Conflict, Refused
from app.models import OwnDistance
from app.models.distance import DistancesIn
from app.services.book import repository

FOOT_M = 0.3048


@dataclass(frozen=True)
class Distances:
    """Least distances of persons by class, for a single motor and for a cluster or stages [ft]."""

    source: str
    dated: str
    by_class: dict[str, tuple[int, int]]


DISTANCES = (
    Distances(
        "Research-motor safety code of an association",
        "2016",
        {
            **dict.fromkeys("ABCDEFGHIJ", (200, 250)),
            "K": (250, 350),
            "L": (300, 500),
            "M": (500, 1000),
            "N": (1000, 1500),
            "O": (1500, 2000),
        },
    ),
    Distances(
        "General high-power safety code",
        "edition not noted",
        {**dict.fromkeys("HIJ", (100, 200)), "K": (200, 300), "L": (300, 500), "M": (500, 1000)},
    ),
)
"""Published tables as they stood at their date. They change: the association's current table comes first."""

LEGAL_POINTERS = (
    "United States, 14 CFR 101.22: classes of amateur rockets by propellant mass (125 g), rocket mass (1500 g) and "
    "total impulse (40,960 N·s). Read the current text; other rules on making, storing and flying apply beside it.",
    "Elsewhere: ask your aviation authority, the police or explosives authority, and your association before the "
    "first motor, not after.",
)


@dataclass(frozen=True)
class DistanceRow:
    """One row of the table: classes with the same distances."""

    classes: str
    single_ft: int
    complex_ft: int

    @property
    def single_m(self) -> float:
        """For one motor [m]."""
        return self.single_ft * FOOT_M

    @property
    def complex_m(self) -> float:
        """For a cluster or stages [m]."""
        return self.complex_ft * FOOT_M


def printed() -> list[tuple[Distances, list[DistanceRow]]]:
    """The published tables, classes with the same distances together."""
    return [(table, _grouped(table)) for table in DISTANCES]


def _grouped(table: Distances) -> list[DistanceRow]:
    groups: dict[tuple[int, int], list[str]] = {}
    for letter, pair in table.by_class.items():
        groups.setdefault(pair, []).append(letter)
    return [
        DistanceRow(f"{letters[0]} to {letters[-1]}" if len(letters) > 1 else letters[0], *pair)
        for pair, letters in groups.items()
    ]


# --- A person's own ------------------------------------------------------------------------------


def own(session: Session) -> list[OwnDistance]:
    """The person's own figures, in the order of classes."""
    order = {letter: i for i, letter in enumerate(CLASS_LIMITS)}
    return sorted(session.exec(select(OwnDistance)), key=lambda row: order[row.impulse_class])


def version(session: Session) -> int:
    """A number that differs once any of the own figures was changed."""
    return sum(31 * row.pk + row.version for row in own(session))


def save(session: Session, data: DistancesIn, seen_version: int | None = None) -> list[OwnDistance]:
    """Take the person's own figures for those in the form: enter, change and delete.

    Raises
    ------
    Refused
        A class that there is none of, or twice; or a cluster nearer than a single motor.
    Conflict
        They were changed since the person opened them.
    """
    if seen_version is not None and seen_version != version(session):
        raise Conflict(
            "The figures were changed in another tab or on another device after you opened them. What you typed is "
            "kept here and was not saved; open the page again to see how they stand now."
        )
    seen: set[str] = set()
    for i, line in enumerate(data.lines):
        letter = _letter(line.impulse_class)
        if letter is None:
            raise Refused(
                f"“{line.impulse_class}” is no class; type one letter, A to O.", field=f"lines.{i}.impulse_class"
            )
        if letter in seen:
            raise Refused(f"Class {letter} stands here twice; leave one.", field=f"lines.{i}.impulse_class")
        seen.add(letter)
        if line.complex is not None and line.complex.si < line.single.si:
            raise Refused(
                "A cluster or stages need at least the distance of a single motor.", field=f"lines.{i}.complex"
            )
    known = {row.impulse_class: row for row in own(session)}
    for letter, row in known.items():
        if letter not in seen:
            session.delete(row)
    session.flush()
    for line in data.lines:
        letter = _letter(line.impulse_class)
        assert letter is not None
        repository.store(session, OwnDistance, line.model_copy(update={"impulse_class": letter}), known.get(letter))
    return own(session)


def _letter(text: str) -> str | None:
    return next((name for name in CLASS_LIMITS if name.casefold() == text.strip().casefold()), None)


@dataclass(frozen=True)
class Least:
    """The distance that holds for a class [m], whose it is and of when."""

    single_m: float
    complex_m: float | None
    source: str
    dated: str
    is_own: bool


def least(session: Session, impulse_class: str) -> Least | None:
    """The person's own figure for a class, or the farthest of the printed ones; None where there is neither."""
    row = session.exec(select(OwnDistance).where(OwnDistance.impulse_class == impulse_class)).first()
    if row is not None:
        return Least(row.single_m, row.complex_m, row.source, clock.day(row.dated), is_own=True)
    found = [
        Least(single * FOOT_M, many * FOOT_M, table.source, table.dated, is_own=False)
        for table in DISTANCES
        for letter, (single, many) in table.by_class.items()
        if letter == impulse_class
    ]
    return max(found, key=lambda one: one.single_m, default=None)
