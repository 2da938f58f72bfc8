"""What a new entry takes over from the last one of its kind: what was chosen, never what was measured."""

from collections.abc import Callable, Mapping
from typing import Any, TypeVar

from sqlmodel import Session, col, select

from app.models.base import FormIn, Row, as_form
from app.services.book import workshop

R = TypeVar("R", bound=Row)
Called = Callable[[Any], str]


def of(
    session: Session,
    table: type[R],
    model: type[FormIn],
    names: tuple[str, ...],
    texts: Callable[[R], Mapping[str, Any]] = lambda _row: {},
    called: Called = lambda row: str(row.name),
) -> tuple[dict[str, str], str]:
    """The texts a new form begins with, and the sentence that says so; nothing where there is no last one.

    Parameters
    ----------
    names
        The fields taken over.
    texts
        What a form of the row says in its own way, such as the name of an ingredient.
    called
        The last one in words.
    """
    last = session.exec(select(table).order_by(col(table.id).desc()).limit(1)).first() if names else None
    if last is None:
        return {}, ""
    stood = {**as_form(last, model, workshop.get(session).units), **texts(last)}
    begun = {name: str(stood[name]) for name in names if stood.get(name) not in (None, "")}
    labels = [str(model.model_fields[name].title or name).lower() for name in begun]
    if not labels:
        return {}, ""
    return begun, f"Begun like the last one, {called(last)}: {', '.join(labels)}. Nothing measured is taken over."
