"""The templates' environment: how numbers, moments and sentences are written on a page."""

import hashlib
from collections.abc import Callable
from functools import cache
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined, pass_context
from jinja2.runtime import Context
from markupsafe import Markup

from app import clock, terms, units
from app.calc.base.notes import Note
from app.drawings.ruler import ruler
from app.forms.marks import marked
from app.page import groups_of, tabs_of
from app.services.stock import supplies
from app.settings import resource


@cache
def _asset(name: str) -> str:
    digest = hashlib.sha256((resource("static") / name).read_bytes()).hexdigest()[:10]
    return f"/static/{name}?v={digest}"


def _measure_filter(kind: str) -> Callable[..., str]:
    @pass_context
    def write(context: Context, si: float | None, decimals: int | None = None) -> str:
        return units.show(si, kind, context["units"], decimals)

    return write


@pass_context
def _bare(context: Context, si: float | None, kind: str, decimals: int | None = None) -> str:
    return "–" if si is None else units.number(si, kind, context["units"], decimals)


def _decimal(text: str, most: int) -> Markup:
    """A number in a column of numbers with up to 3 decimals, set so that all stand on their decimal sign."""
    sign = next((sign for sign in ".," if sign in text[-most - 1 :]), "")
    whole, _, part = text.rpartition(sign) if sign else (text, "", "")
    return Markup('%s<span class="part of-%d">%s</span>') % (whole, most, sign + part)


@pass_context
def _said(context: Context, value: Any) -> Any:
    """What a page writes: a note becomes words in the workshop's units here, and only here."""
    return units.say(value, context["units"]) if isinstance(value, Note) else value


def _environment() -> Environment:
    env = Environment(
        loader=FileSystemLoader(resource("templates")),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_said,
    )
    env.globals["asset"] = _asset
    env.globals["tabs_of"] = tabs_of
    env.globals["ruler"] = ruler
    env.filters["marked"] = marked
    env.globals["terms"], env.globals["explained_in"], env.globals["slug"] = terms.TERMS, terms.explained, terms.slug
    env.globals["groups_of"] = groups_of
    env.globals["unit_of"] = units.unit_of
    env.globals["convert"] = units.convert
    env.globals["law_factor"] = units.law_factor
    env.globals["convert"] = units.convert
    env.globals["now"] = clock.now
    env.globals["today"] = clock.today
    env.filters["say"] = _said
    for kind in units.KINDS:
        env.filters[kind] = _measure_filter(kind)
    env.filters["bare"] = _bare
    env.filters["decimal"] = _decimal
    env.filters["counted"] = units.counted
    env.filters["ingredient"] = supplies.ingredient_name
    env.filters["moment"] = lambda m: "–" if m is None else clock.day_and_time(m)
    env.filters["clock"] = lambda m: "–" if m is None else f"{clock.local(m):%H:%M}"
    env.filters["day"] = lambda d: "–" if d is None else clock.day(d)
    return env


templates = _environment()
