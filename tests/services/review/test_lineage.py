"""From any thing to what it came from and what it became."""

from pathlib import Path

from sqlalchemy import text
from sqlmodel import Session

from app.db import open_engine, reading
from app.services.review import lineage, trace
from tests import build


def names(found: lineage.Lineage) -> list[list[str]]:
    return [[node.name for node in nodes] for nodes in found.stages]


def test_a_grain_is_followed_back_to_its_bags_and_no_further_than_it_went(session: Session) -> None:
    lot = build.cast(session, 2)
    one, _ = build.grain(session, lot), build.grain(session, lot)
    found = lineage.of(session, "grain", one.pk)
    bags, batch, grain, motors, firings = names(found)
    assert batch == [lot.code]
    assert grain == [one.serial], "its neighbour of the lot is not on its way"
    assert (motors, firings) == ([], [])
    walked = {bag.mark for bag in trace.of_batch(session, lot).every_bag}
    assert set(bags) == walked
    assert {(stage, b) for stage, _, b in found.links} == {(0, 0), (1, 0)}
    assert [node.here for nodes in found.stages for node in nodes].count(True) == 1


def test_each_way_in_the_demonstration_book_is_the_one_that_its_keys_tell(demo_book: Path) -> None:
    """Reference: the foreign keys, asked by plain SQL from the bag to the firing."""
    engine = open_engine(demo_book)
    way = (
        "SELECT w.supply_id, p.batch_id, g.id, x.motor_build_id, f.id FROM weigh_out w "
        "JOIN batch_part p ON p.id = w.batch_part_id JOIN grain g ON g.batch_id = p.batch_id "
        "JOIN build_grain x ON x.grain_id = g.id JOIN firing f ON f.motor_build_id = x.motor_build_id "
        "WHERE w.supply_id IS NOT NULL AND w.voided_at IS NULL"
    )
    with reading(engine) as session:
        ways = {tuple(row) for row in session.execute(text(way))}
        assert len(ways) > 20
        for firing_id in {row[4] for row in ways}:
            found = lineage.of(session, "firing", firing_id)
            assert not any(found.more)
            for i in range(5):
                expected = {row[i] for row in ways if row[4] == firing_id}
                assert {n for node in found.stages[i] for n in node.ids if n > 0} == expected, (firing_id, i)
        for bag_id in {row[0] for row in ways}:
            found = lineage.of(session, "bag", bag_id)
            assert len(found.stages[4]) + found.more[4] == len({row[4] for row in ways if row[0] == bag_id})
            assert all(len(nodes) <= lineage.SHOWN for nodes in found.stages)
    engine.dispose()
