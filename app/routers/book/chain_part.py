"""The picture of what a thing came from and what it became, for the pages of bag, lot, grain, motor and firing."""

from markupsafe import Markup
from sqlmodel import Session

from app.drawings.chain import Box, Stage, chain
from app.services.review import lineage

NAMES = ("Bags", "Batch", "Grains", "Motor", "Firings")


def chain_of(session: Session, stage: lineage.Stage, row_id: int) -> Markup:
    """The chain through one row, drawn; its boxes lead to the pages of what they name."""
    found = lineage.of(session, stage, row_id)
    stages = [
        Stage(name, [Box(node.name, node.below, node.href, node.here) for node in nodes], more)
        for name, nodes, more in zip(NAMES, found.stages, found.more, strict=True)
    ]
    return chain(stages, found.links, "What it came from, and what it became")
