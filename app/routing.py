"""Routes that are worked out when their address is first asked for, not at the start.

What a page or form takes (its parameters, each with a validator of its own) is read from the function that answers.
For two hundred addresses that is a tenth of the start, of which the first page needs one.
"""

from collections.abc import Callable
from typing import Any

from fastapi import APIRouter
from fastapi.routing import APIRoute
from starlette.routing import compile_path
from starlette.types import Receive, Scope, Send


class LateRoute(APIRoute):
    """A route that knows its address and methods at once, and the rest when it is `complete`."""

    def __init__(
        self, path: str, endpoint: Callable[..., Any], *, methods: list[str], include_in_schema: bool = True, **how: Any
    ) -> None:
        self.path, self.endpoint, self.methods = path, endpoint, set(methods)
        self.include_in_schema = include_in_schema
        self.path_regex, self.path_format, self.param_convertors = compile_path(path)
        self._rest: dict[str, Any] | None = {"methods": methods, "include_in_schema": include_in_schema, **how}

    def complete(self) -> None:
        """Read what the function takes and answers."""
        if self._rest is not None:
            super().__init__(self.path, self.endpoint, **self._rest)
            self._rest = None

    async def handle(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request."""
        self.complete()
        await super().handle(scope, receive, send)


def late_router(prefix: str = "", route: type[LateRoute] = LateRoute) -> APIRouter:
    """A room's addresses, below one prefix."""
    return APIRouter(prefix=prefix, route_class=route)
