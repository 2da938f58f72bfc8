"""Fuzz of the compute API from its own OpenAPI document, by schemathesis: each answer as the document says, in time."""

from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from time import monotonic
from typing import Any

import pytest
import schemathesis
from fastapi import FastAPI
from hypothesis import given
from schemathesis.checks import not_a_server_error
from schemathesis.core.result import Ok
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from app.access.door import new_token
from app.main import create_app
from app.routers.api import api
from app.settings import Settings
from tests.behind import book_of, engine_of
from tests.reliability.fuzz import CASES, TIMEOUT_S, enough, tried

CHECKS = [not_a_server_error, status_code_conformance, content_type_conformance, response_schema_conformance]


@pytest.fixture(scope="module")
def served(empty_book: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[FastAPI]:
    book = tmp_path_factory.mktemp("fuzz") / "book.sqlite3"
    book.write_bytes(empty_book.read_bytes())
    app = create_app(Settings(book=book))
    yield app
    engine_of(app).dispose()


@pytest.mark.promise("No fault and no stuck worker, whatever is sent", figure="500 cases by schemathesis")
def test_fuzz_the_compute_api(served: FastAPI) -> None:
    schema = schemathesis.openapi.from_dict(api.document())
    schema.app = served
    operations = [found.ok() for found in schema.get_all_operations() if isinstance(found, Ok)]
    assert len(operations) == len(api.document()["paths"])
    seen: Counter[str] = Counter()
    _, token = new_token(book_of(served))
    sent = {"host": "localhost", "authorization": f"Bearer {token}"}
    for operation in operations:

        @tried(-(-CASES["api"] // len(operations)))
        @given(case=operation.as_strategy())
        def ask(case: schemathesis.Case[Any]) -> None:
            begun = monotonic()
            answer = case.call(base_url="http://localhost", headers=sent)
            assert monotonic() - begun < TIMEOUT_S, "the worker was stuck"
            assert answer.status_code in (200, 422)
            case.validate_response(answer, checks=CHECKS)
            seen[f"{case.operation.path} {answer.status_code}"] += 1

        ask()
    enough(seen, "api")
    for operation in operations:
        assert seen[f"{operation.path} 200"] > 0  # what is sound is reached too
