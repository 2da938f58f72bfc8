"""Pages of rockets and fields."""

from fastapi import APIRouter

from app.models import LaunchField, Rocket
from app.models.place import LaunchFieldIn, RocketIn
from app.routers.nouns import Noun, add_pages
from app.services import places

router = APIRouter()

ROCKETS = Noun(
    "rockets", "rocket", Rocket, RocketIn, places.save_rocket, places.rockets,
    initial=lambda row: {} if row else {"drag_coefficient": "0.5"},
)  # fmt: skip
FIELDS = Noun("fields", "field", LaunchField, LaunchFieldIn, places.save_field, places.fields)

for noun in (ROCKETS, FIELDS):
    add_pages(router, noun)
