"""Labels for bags: sizes of common sticky sheets and of rolls, what stands on a label, and the sheet's own style."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated

from markupsafe import Markup
from pydantic import Field as FormField
from sqlmodel import Session, col, select

from app import clock
from app.errors import Refused
from app.models import Batch, Grain
from app.models.base import FormIn
from app.services.book import workshop
from app.services.cast import targets
from app.services.grains import grains
from app.services.grains.grains import GrainView
from app.units import Measure, Quantity, UnitSystem, number, show, unit_of


@dataclass(frozen=True)
class Sheet:
    """A sheet or roll of labels; all sizes in millimetres, as they are sold."""

    name: str
    paper: tuple[float, float]
    label: tuple[float, float]
    columns: int = 1
    rows: int = 1
    left: float = 0.0
    top: float = 0.0
    across: float = 0.0
    """From the left edge of a label to the left edge of the next; 0 where there is one column."""
    down: float = 0.0

    @property
    def places(self) -> int:
        """Labels on one sheet."""
        return self.columns * self.rows

    @property
    def pad(self) -> float:
        """Left white on each side; more on sheets cut to the paper's edge, where printers do not reach."""
        return 4.0 if self.columns > 1 and self.left < 2 else 1.2

    @property
    def warns(self) -> bool:
        """Whether there is room for the line of caution."""
        return self.label[1] >= 25

    @property
    def code(self) -> float:
        """Side of the square for the QR code with its quiet border."""
        width, height = self.label
        return min(height - 2 * self.pad, max(13.0, 0.34 * width))

    @property
    def type_size(self) -> float:
        """Height of the type: as large as the lines of a label allow."""
        width, height = self.label
        lines = 8.0 if self.warns else 7.0
        return round(min((height - 2 * self.pad) / lines, (width - self.code - 2 * self.pad - GAP) / 10, 4.0), 2)


GAP = 1.2
A4 = (210.0, 297.0)
LETTER = (215.9, 279.4)

SHEETS: dict[str, Sheet] = {
    "a4-3x8": Sheet("A4, 3 × 8", A4, (70, 37), 3, 8, 0, 0.5, 70, 37),
    "a4-3x7": Sheet("A4, 3 × 7", A4, (63.5, 38.1), 3, 7, 7.25, 15.15, 66, 38.1),
    "a4-5x13": Sheet("A4, 5 × 13", A4, (38.1, 21.2), 5, 13, 4.75, 10.7, 40.6, 21.2),
    "letter-3x10": Sheet("US letter, 3 × 10", LETTER, (66.675, 25.4), 3, 10, 4.7625, 12.7, 69.85, 25.4),
    "letter-2x5": Sheet("US letter, 2 × 5", LETTER, (101.6, 50.8), 2, 5, 3.96875, 12.7, 106.3625, 50.8),
    "roll-62x29": Sheet("single, from a roll", (62, 29), (62, 29)),
    "roll-57x32": Sheet("single, from a roll", (57, 32), (57, 32)),
}
"""Grids of common sheets (common practice, no source: try one on plain paper first)."""


def choices(units: UnitSystem) -> list[tuple[str, str]]:
    """The sheets as a list to choose from, their labels' sizes in the workshop's unit."""

    def bare(millimetres: float) -> str:
        return number(millimetres / 1e3, "length", units, 1)

    return [
        (key, f"{bare(sheet.label[0])} × {bare(sheet.label[1])} {unit_of('length', units)} ({sheet.name})")
        for key, sheet in SHEETS.items()
    ]


MOST = 500
"""Labels printed at once at most; a mistake in the choice would waste a pack of sheets."""

Shift = Annotated[Quantity, Measure("length", ge=-0.01, le=0.01)]


class LabelsIn(FormIn):
    """Which labels, on which sheet, from which place on."""

    lot: str | None = FormField(None, max_length=20, title="Lot")
    grain: list[int] = FormField([], title="Grains")
    size: str = FormField("a4-3x8", title="Labels")
    start: int = FormField(
        1, ge=1, title="First free place", description="On a sheet used before: count along the rows from the top."
    )
    right: Shift | None = FormField(None, title="Move right", description="If the print sits beside the labels.")
    down: Shift | None = FormField(None, title="Move down", description="A minus sign moves it back.")


@dataclass(frozen=True)
class Label:
    """What stands on one label; `code` is the QR code as SVG."""

    serial: str
    lot: str
    mass: str
    cast_on: str
    formula: str
    address: str
    code: Markup


def candidates(session: Session, wanted: LabelsIn) -> list[GrainView]:
    """The grains there could be labels for: the lot's, else the ticked ones."""
    if wanted.lot:
        return grains.views(session, col(Batch.code) == wanted.lot.upper())
    return grains.views(session, col(Grain.id).in_(wanted.grain)) if wanted.grain else []


def chosen(found: list[GrainView], wanted: LabelsIn) -> list[GrainView]:
    """Those of them to print: the ticked ones, or all that can still be in a bag where none was ticked yet."""
    if wanted.grain:
        return [v for v in found if v.grain.id in wanted.grain]
    return [v for v in found if v.state not in ("rejected", "fired", "gone")]


def sheets(session: Session, wanted: LabelsIn, views: Sequence[GrainView], base: str) -> list[list[Label | None]]:
    """Labels laid out on sheets; None is a place that stays empty. `base` is the address this book answers at.

    Raises
    ------
    Refused
        No such sheet, no such place on it, or too many labels.
    """
    sheet = of_size(wanted.size)
    if wanted.start > sheet.places:
        raise Refused(f"This sheet has {sheet.places} places; type a number up to that.", field="start")
    if len(views) > MOST:
        raise Refused(f"{len(views)} labels at once are too many; choose up to {MOST} grains.", field="grain")
    house = workshop.get(session)
    digits = targets.places(house)
    cells: list[Label | None] = [None] * (wanted.start - 1)
    for view in views:
        address = f"{base.rstrip('/')}/shelf/{view.grain.serial}"
        mass = show(view.grain.mass_kg, "mass", house.units, digits)
        day = clock.day(view.poured_at)
        cells.append(
            Label(view.grain.serial, view.batch.code, mass, day, view.formula.label, address, qr_code(address))
        )
    if not views:
        return []
    return [cells[i : i + sheet.places] for i in range(0, len(cells), sheet.places)]


def of_size(size: str) -> Sheet:
    """The sheet of that key.

    Raises
    ------
    Refused
        There is none.
    """
    if size not in SHEETS:
        raise Refused("Choose one of the list.", field="size")
    return SHEETS[size]


def qr_code(address: str) -> Markup:
    """A QR code (ISO/IEC 18004, level M) as SVG with its quiet border of four modules."""
    import segno  # here: only labels need it, and it takes time to load

    code = segno.make(address, error="m", micro=False)
    return Markup(code.svg_inline(border=4, omitsize=True, svgclass=None, lineclass=None, dark="#000"))  # noqa: S704


def stylesheet(size: str, right_mm: float = 0.0, down_mm: float = 0.0) -> str:
    """The style of one size of sheet: its paper, its grid and its type; numbers of our own only.

    Raises
    ------
    Refused
        There is no such sheet.
    """
    sheet = of_size(size)
    (paper_w, paper_h), (label_w, label_h) = sheet.paper, sheet.label
    gap_x = max(sheet.across - label_w, 0) if sheet.columns > 1 else 0
    gap_y = max(sheet.down - label_h, 0) if sheet.rows > 1 else 0
    return f"""@page {{ size: {_mm(paper_w)} {_mm(paper_h)}; margin: 0; }}
.sheet {{
  width: {_mm(paper_w)};
  height: {_mm(paper_h)};
  grid-template-columns: repeat({sheet.columns}, {_mm(label_w)});
  grid-auto-rows: {_mm(label_h)};
  column-gap: {_mm(gap_x)};
  row-gap: {_mm(gap_y)};
}}
.sheet > * {{ left: {_mm(sheet.left + right_mm)}; top: {_mm(sheet.top + down_mm)}; }}
.label {{ --code: {_mm(sheet.code)}; gap: {_mm(GAP)}; padding: {_mm(sheet.pad)}; font-size: {_mm(sheet.type_size)}; }}
.label .warning {{ display: {"block" if sheet.warns else "none"}; }}
"""


def _mm(size: float) -> str:
    return f"{round(size, 3):g}mm"


def lots(session: Session, n: int = 12) -> list[Batch]:
    """The newest lots that have grains."""
    with_grains = select(Grain.batch_id).distinct()
    newest = select(Batch).where(col(Batch.id).in_(with_grains))
    return list(session.exec(newest.order_by(col(Batch.planned_for).desc(), col(Batch.id).desc()).limit(n)))
