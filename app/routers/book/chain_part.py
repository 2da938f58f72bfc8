"""The picture of what a thing came from and what it became, for the pages of bag, lot, grain, motor and firing."""

from functools import lru_cache

from markupsafe import Markup
from sqlmodel import Session

from app.drawings.chain import Box, Stage, chain
from app.services.review import lineage

# Pages are looked at far more often than a chain grows: each state of one is drawn once while the book is open.
_chain = lru_cache(maxsize=128)(chain)

NAMES = ("Bags", "Batch", "Grains", "Motor", "Firings")


def chain_of(session: Session, stage: lineage.Stage, row_id: int) -> Markup:
    """The chain through one row, drawn; its boxes lead to the pages of what they name."""
    found = lineage.of(session, stage, row_id)
    stages = tuple(
        Stage(name, tuple(Box(node.name, node.below, node.href, node.here) for node in nodes), more)
        for name, nodes, more in zip(NAMES, found.stages, found.more, strict=True)
    )
    return _chain(stages, tuple(found.links), "What it came from, and what it became")
