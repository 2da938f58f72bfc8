"""Answers of long calculations, kept by all that went in, so that a page opens at once that was worked out before."""

import hashlib
import json
from collections.abc import Mapping
from typing import Any, Literal

from sqlmodel import Session, col, delete, select

from app.models import KeptAnswer

What = Literal["choices", "plan"]

BEGUN = json.dumps({"begun": True})
"""What stands in the place of an answer that is being worked out."""

MOST = {"choices": 40, "plan": 40}
"""How many answers of a kind are kept; the oldest go first."""


def key_of(what: What, inputs: Mapping[str, Any]) -> str:
    """The digest of all that goes into an answer."""
    return hashlib.sha256(json.dumps([what, inputs], sort_keys=True, allow_nan=False).encode()).hexdigest()


def find(session: Session, what: What, inputs: Mapping[str, Any]) -> Any | None:
    """The answer that was worked out from the same before, as plain JSON; None where there is none."""
    return by_key(session, key_of(what, inputs))


def by_key(session: Session, key: str) -> Any | None:
    """The answer of that digest, as plain JSON; None where there is none."""
    row = _row(session, key)
    return None if row is None or row.answer_json == BEGUN else json.loads(row.answer_json)


def begin(session: Session, what: What, inputs: Mapping[str, Any]) -> None:
    """Keep that an answer is being worked out; one of the same that stands already stays."""
    if _row(session, key_of(what, inputs)) is None:
        _store(session, what, key_of(what, inputs), BEGUN)


def begun(session: Session, key: str) -> bool:
    """Whether the answer of that digest was begun, and nothing came of it yet."""
    row = _row(session, key)
    return row is not None and row.answer_json == BEGUN


def _row(session: Session, key: str) -> KeptAnswer | None:
    return session.exec(select(KeptAnswer).where(KeptAnswer.inputs_sha256 == key)).first()


def keep(session: Session, what: What, inputs: Mapping[str, Any], answer: Mapping[str, Any]) -> None:
    """Keep an answer by what went in; one of the same is replaced."""
    _store(session, what, key_of(what, inputs), json.dumps(answer, allow_nan=False))


def _store(session: Session, what: What, key: str, text: str) -> None:
    row = _row(session, key)
    if row is None:
        row = KeptAnswer(what=what, inputs_sha256=key, answer_json="")
        session.add(row)
    row.answer_json = text
    session.flush()
    kept = select(KeptAnswer.id).where(KeptAnswer.what == what).order_by(col(KeptAnswer.id).desc()).offset(MOST[what])
    if old := list(session.exec(kept.limit(1000))):
        session.exec(delete(KeptAnswer).where(col(KeptAnswer.id).in_(old)))
