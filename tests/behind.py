"""What is behind a test's browser: its app, and the book that the app keeps open."""

from pathlib import Path
from typing import cast

from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlalchemy import Engine


def app_of(client: TestClient) -> FastAPI:
    return cast(FastAPI, client.app)


def engine_of(client: TestClient) -> Engine:
    return cast(Engine, app_of(client).state.engine)


def book_of(client: TestClient) -> Path:
    return cast(Path, app_of(client).state.settings.book)
