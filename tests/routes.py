"""Every address that the app answers, read from the app itself, so that no test forgets a new one."""

import re
from collections.abc import Iterable, Iterator
from typing import Any

from fastapi import FastAPI

from app.routers import ROUTERS


def every(app: FastAPI) -> list[tuple[str, str]]:
    """Method and address of each route, as `("POST", "/cast/{code}/grains")`."""
    return sorted({(method, path) for methods, path in _walk(app.routes) for method in methods})


def declared(method: str) -> list[str]:
    """The addresses that take a method, known before there is an app: to name the tests by."""
    found = {(one, path) for router in ROUTERS for methods, path in _walk(router.routes) for one in methods}
    return sorted(path for one, path in found if one == method)


def filled(path: str, part: str = "1") -> str:
    """An address with something in place of each part that names a row."""
    return re.sub(r"\{[^}]+\}", part, path)


def _walk(routes: Iterable[Any]) -> Iterator[tuple[set[str], str]]:
    for route in routes:
        inner = getattr(route, "original_router", None)
        if inner is not None:
            yield from _walk(inner.routes)
        elif getattr(route, "methods", None):
            yield route.methods, route.path
        else:
            assert route.path == "/static", f"{route} is of a kind that these tests do not know"
