"""Routes worked out late answer as FastAPI's own do, and nothing is worked out before it is asked for."""

import subprocess
import sys
from pathlib import Path

import pytest
from fastapi import FastAPI
from fastapi.routing import APIRoute
from fastapi.testclient import TestClient

from app.routers import ROUTERS
from app.routing import LateRoute, late_router

ROOT = Path(__file__).parents[1]


def both() -> tuple[FastAPI, FastAPI]:
    """The same addresses with routes of either kind."""
    made = []
    for kind in (LateRoute, APIRoute):
        app = FastAPI(openapi_url=None)
        router = late_router("/lots")
        router.route_class = kind

        @router.get("/{number}")
        def lot(number: int, page: int = 1) -> dict[str, int]:
            return {"number": number, "page": page}

        @router.post("/{number}", status_code=201)
        def change(number: int) -> dict[str, int]:
            return {"number": number}

        app.router.routes += router.routes
        made.append(app)
    return made[0], made[1]


@pytest.mark.parametrize(
    ("method", "path"),
    [
        ("GET", "/lots/7?page=2"),
        ("GET", "/lots/seven"),
        ("GET", "/lots/7?page=two"),
        ("POST", "/lots/7"),
        ("PUT", "/lots/7"),
        ("HEAD", "/lots/7"),
        ("GET", "/lots/7/"),
        ("GET", "/lots"),
    ],
)
def test_a_late_route_answers_as_the_library_s_own(method: str, path: str) -> None:
    late, usual = (TestClient(app).request(method, path, follow_redirects=False) for app in both())
    assert late.status_code == usual.status_code
    assert late.content == usual.content
    assert dict(late.headers) == dict(usual.headers)


def test_each_route_of_the_app_can_be_worked_out() -> None:
    routes = [route for router in ROUTERS for route in router.routes]
    assert len(routes) > 200
    for route in routes:
        assert isinstance(route, LateRoute), route
        route.complete()
        assert route.dependant.call is route.endpoint


def test_the_start_works_out_no_route() -> None:
    code = (
        "from app.main import create_app; from app.routers import ROUTERS; from app.settings import Settings\n"
        "import sys, tempfile, pathlib\n"
        "with tempfile.TemporaryDirectory() as room:\n"
        "    app = create_app(Settings(book=pathlib.Path(room) / 'book.sqlite3'))\n"
        "    print(sum(hasattr(route, 'dependant') for router in ROUTERS for route in router.routes))\n"
        "    app.state.engine.dispose()\n"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "0"
