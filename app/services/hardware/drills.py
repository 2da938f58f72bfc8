"""The workshop's drills and reamers: what a throat can be opened to."""

from sqlmodel import Session, col, select

from app.errors import Refused
from app.models import Drill
from app.models.season_choice import DrillIn
from app.services.book import repository, workshop
from app.units import show

NEAR = 1e-6
"""Two drills nearer than this [m] are the same."""


def drills(session: Session, retired: bool = False) -> list[Drill]:
    """The drills in use, or those that are retired, the thinnest first."""
    return list(session.exec(select(Drill).where(Drill.retired == retired).order_by(col(Drill.diameter_m))))


def save_drill(session: Session, data: DrillIn, row: Drill | None = None, version: int | None = None) -> Drill:
    """Enter a drill, or change one.

    Raises
    ------
    Refused
        One of that diameter is in the book already.
    Conflict
        It was changed since the page was opened.
    """
    close = select(Drill).where(col(Drill.diameter_m).between(data.diameter.si - NEAR, data.diameter.si + NEAR))
    same = session.exec(close).first()
    if same is not None and same is not row:
        retired = " It is retired; bring it back." if same.retired else ""
        raise Refused(f"A drill of {same.name} is in the book already.{retired}", field="diameter")
    name = show(data.diameter.si, "length", workshop.get(session).units)
    if row is None:
        return repository.store(session, Drill, data, name=name)
    repository.store(session, Drill, data, row, version)
    row.name = name
    session.flush()
    return row
