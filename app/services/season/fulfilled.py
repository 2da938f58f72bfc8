"""Which firings of a season count for which wish.

A motor that was told to be of a wish counts for it. Of the others a flight counts for a wish of its rocket, a static
test for a wish of its formula and case; where several could be meant, first the one whose chosen motor it is, then the
one whose height it was wanted for, then the one that is due first. A wish that has all it wanted takes no more.
"""

from collections.abc import Iterator

from sqlmodel import Session, col, select

from app import clock
from app.errors import Refused
from app.models import Batch, BuildGrain, Firing, Grain, MotorBuild, MotorChoice, Season, Wish, WishMotor
from app.services.book import repository
from app.services.season import kept_choices, seasons, wishes


def fired(session: Session, season: Season) -> dict[int, list[Firing]]:
    """The firings of each wish, by its identity, in the order they were fired; motors that did not light do not count.

    A firing that belongs to no wish stands under 0.
    """
    wanted = wishes.wishes(session, season)
    chosen = kept_choices.standing(session, season)
    told = dict(session.exec(select(WishMotor.motor_build_id, WishMotor.wish_id)).all())
    found: dict[int, list[Firing]] = {0: [], **{wish.pk: [] for wish in wanted}}
    burned = list(_burned(session, season))
    made = _made(session, [build.pk for _, build in burned])
    for firing, build in sorted(burned, key=lambda pair: pair[1].pk not in told):  # what was told comes first
        wish_id = told.get(build.pk)
        if wish_id in found:
            found[wish_id].append(firing)
            continue
        candidates = [
            wish for wish in wanted if len(found[wish.pk]) < wish.count and _could(wish, firing, build, made[build.pk])
        ]
        best = min(candidates, key=lambda w: _order(w, firing, build, made[build.pk], chosen.get(w.pk)), default=None)
        found[best.pk if best else 0].append(firing)
    return {wish_id: sorted(those, key=lambda one: one.fired_at) for wish_id, those in found.items()}


def tell(session: Session, season: Season, build_id: int, wish_id: int) -> None:
    """Say for which wish of the season a motor was fired; what was told of it before gives way.

    Raises
    ------
    NotFound
        There is no such motor, or the season has no such wish.
    Refused
        A flight is no static test, or the wish was struck out.
    """
    build = repository.get(session, MotorBuild, build_id, "motor")
    wish = wishes.of(session, season, wish_id)
    kinds = session.exec(select(Firing.kind).where(Firing.motor_build_id == build.pk)).all()
    if wish.struck_at is not None or ("flight" if wish.kind == "flight" else "static") not in kinds:
        raise Refused("This firing cannot be for that wish. Choose another.", field="wish_id")
    row = session.exec(select(WishMotor).where(WishMotor.motor_build_id == build.pk)).first()
    if row is None:
        row = WishMotor(wish_id=wish.pk, motor_build_id=build.pk)
        session.add(row)
    else:
        row.wish_id, row.version = wish.pk, row.version + 1
    session.flush()


def _burned(session: Session, season: Season) -> Iterator[tuple[Firing, MotorBuild]]:
    query = (
        select(Firing, MotorBuild)
        .join(MotorBuild, col(Firing.motor_build_id) == col(MotorBuild.id))
        .where(col(Firing.fired_at) >= seasons.since(season), Firing.result != "no_light")
        .order_by(col(Firing.fired_at), col(Firing.id))
    )
    for firing, build in session.exec(query):
        if clock.local(firing.fired_at).date() <= season.ends_on:
            yield firing, build


Made = tuple[set[int], dict[int, int]]
"""The formulas of a motor's grains, and how many grains of each pattern."""


def _made(session: Session, builds: list[int]) -> dict[int, Made]:
    found: dict[int, Made] = {build: (set(), {}) for build in builds}
    query = (
        select(BuildGrain.motor_build_id, Batch.formula_id, Grain.pattern_id)
        .join(Grain, col(BuildGrain.grain_id) == col(Grain.id))
        .join(Batch, col(Grain.batch_id) == col(Batch.id))
        .where(col(BuildGrain.motor_build_id).in_(builds), col(BuildGrain.released_at).is_(None))
    )
    for build, formula, pattern in session.exec(query):
        formulas, counts = found[build]
        formulas.add(formula)
        counts[pattern] = counts.get(pattern, 0) + 1
    return found


def _could(wish: Wish, firing: Firing, build: MotorBuild, made: Made) -> bool:
    if wish.kind == "flight":
        return firing.kind == "flight" and firing.rocket_id == wish.rocket_id
    return firing.kind == "static" and build.case_id == wish.case_id and wish.formula_id in made[0]


def _order(
    wish: Wish, firing: Firing, build: MotorBuild, made: Made, choice: MotorChoice | None
) -> tuple[bool, bool, str]:
    its_motor = choice is not None and choice.case_id == build.case_id and choice.counts == made[1]
    height = firing.altitude_m
    its_height = (
        height is not None
        and wish.height_low_m is not None
        and wish.height_high_m is not None
        and wish.height_low_m <= height <= wish.height_high_m
    )
    return not its_motor, not its_height, wish.by_on.isoformat()
