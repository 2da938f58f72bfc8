"""The weeks about today, for the time line of a quiet day: melts with their cures, tests and flights."""

from datetime import timedelta

from sqlmodel import Session, col, select

from app import clock
from app.drawings.season_line import Happening
from app.models import Batch, Firing, MotorBuild
from app.services.book import workshop
from app.services.grains import grains
from app.services.stock import batches

BACK = timedelta(days=28)
"""How far back the time line begins; Grainbook's own choice."""


def around(session: Session) -> list[Happening]:
    """What was done in the last weeks and what is planned, by its day at the bench."""
    since = clock.today() - BACK
    cure = timedelta(seconds=workshop.get(session).cure_s)
    recent = (col(Batch.planned_for) >= since) | (col(Batch.state) == "planned")
    wanted = select(Batch).where(col(Batch.state) != "dropped", recent).options(*batches.BARE)
    melts = session.exec(wanted).all()
    pours = grains.poured(session, [batch.pk for batch in melts])
    found = []
    for batch in melts:
        pour = pours.get(batch.pk)
        on = clock.local(pour).date() if pour else batch.planned_for
        done = pour is not None or batch.state == "cast"
        found.append(Happening("melt", on, batch.code, done, on + cure if cure >= timedelta(days=1) else None))
    fired = select(Firing.fired_at, Firing.kind, MotorBuild.code).join(
        MotorBuild, col(Firing.motor_build_id) == MotorBuild.id
    )
    for moment, kind, code in session.exec(fired.where(col(Firing.fired_at) >= clock.midnight(since))):
        found.append(Happening("flight" if kind == "flight" else "test", clock.local(moment).date(), code, True))
    return found
