"""The compute API: the calculations of the pages as JSON, documented in OpenAPI. It reads and stores nothing."""

import json
from collections.abc import Callable, Coroutine
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Annotated, Any

from fastapi import Body, Request
from fastapi.exceptions import RequestValidationError
from fastapi.openapi.utils import get_openapi
from fastapi.responses import JSONResponse, Response
from starlette.exceptions import HTTPException

from app.models import api, api_choices, api_flight, api_motor, api_season
from app.page import Page
from app.routing import LateRoute, late_router
from app.services.api import compute, compute_choices, compute_flight, compute_motor, compute_season
from app.web import Book, render

BASE = "/api/v1"

_EXAMPLES: dict[str, Any] = json.loads((Path(api.__file__).with_name("api_examples.json")).read_text(encoding="utf-8"))


def _refused(faults: list[dict[str, Any]]) -> JSONResponse:
    return JSONResponse({"detail": faults}, status_code=422)


class ComputeRoute(LateRoute):
    """Whatever is wrong with a request is answered in one shape: where it stands, what is wrong, of what type.

    What was sent is not sent back: it may be NaN, which JSON has no word for.
    """

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        """The usual handler, its refusals reshaped."""
        usual = super().get_route_handler()

        async def handle(request: Request) -> Response:
            try:
                return await usual(request)
            except RequestValidationError as error:
                return _refused([{name: fault[name] for name in ("loc", "msg", "type")} for fault in error.errors()])
            except compute.Misfit as error:
                return _refused([{"loc": ["body", *error.loc], "msg": error.message, "type": error.kind}])
            except HTTPException as error:
                if error.status_code != 400:
                    raise
                return _refused([{"loc": ["body"], "msg": "This is not JSON text in UTF-8.", "type": "json_invalid"}])

        return handle


router = late_router(route=ComputeRoute)


def _body(path: str) -> Any:
    """The request's place in the document, with its example."""
    example = _EXAMPLES[path]
    return Body(openapi_examples={"example": {"summary": example["summary"], "value": example["request"]}})


@router.post(BASE + "/recipe/scale", tags=["compute"], summary="Scale a recipe")
def scale_recipe(data: Annotated[api.RecipeScaleIn, _body("/recipe/scale")]) -> api.RecipeScaleOut:
    """Grams of each ingredient for a batch, to the step of the scale, remelts counted."""
    return compute.scale(data)


@router.post(BASE + "/grain/check", tags=["compute"], summary="Check a grain")
def check_grain(data: Annotated[api.GrainCheckIn, _body("/grain/check")]) -> api.GrainCheckOut:
    """Density of a weighed and measured grain against the ideal, with a verdict and its reasons."""
    return compute.check_grain(data)


@router.post(BASE + "/blend/state", tags=["compute"], summary="Burn a blend to equilibrium")
def blend_state(data: Annotated[api.BlendStateIn, _body("/blend/state")]) -> api.BlendStateOut:
    """Flame temperature, products, characteristic velocity and ideal impulse at a chamber pressure."""
    return compute.blend_state(data)


@router.post(BASE + "/motor/run", tags=["compute"], summary="Run a motor")
def run_motor(data: Annotated[api_motor.MotorRunIn, _body("/motor/run")]) -> api_motor.MotorRunOut:
    """Pressure, thrust and impulse of one motor from ignition to tail-off. A prediction is not a promise."""
    return compute_motor.run_motor(data)


@router.post(BASE + "/motor/range", tags=["compute"], summary="Predict a motor as ranges")
def motor_range(data: Annotated[api_motor.MotorRangeIn, _body("/motor/range")]) -> api_motor.MotorRangeOut:
    """Many motors drawn from stated spreads: 5, 50 and 95 % marks, and what drives them."""
    return compute_motor.motor_range(data)


@router.post(BASE + "/motor/choices", tags=["compute"], summary="Choose a motor for a wish")
def motor_choices(data: Annotated[api_choices.ChoicesIn, _body("/motor/choices")]) -> api_choices.ChoicesOut:
    """Every motor that cases, nozzles, drills, formulas and grains make: which fly as wished, and why others do not."""
    return compute_choices.motor_choices(data)


@router.post(BASE + "/flight/run", tags=["compute"], summary="Fly a rocket")
def run_flight(data: Annotated[api_flight.FlightRunIn, _body("/flight/run")]) -> api_flight.FlightRunOut:
    """A thrust curve in a rocket from a pad, with wind and parachutes: rail, apogee, ideal delay, landing."""
    return compute_flight.run_flight(data)


@router.post(BASE + "/case/check", tags=["compute"], summary="Check a case")
def check_case(data: Annotated[api.CaseCheckIn, _body("/case/check")]) -> api.CaseCheckOut:
    """Stress in a case's wall, and the margin to its rating, its proof test or the formula."""
    return compute.check_case(data)


@router.post(BASE + "/season/plan", tags=["compute"], summary="Plan a season's casting")
def plan_season(data: Annotated[api_season.SeasonPlanIn, _body("/season/plan")]) -> api_season.SeasonPlanOut:
    """Grains to cast for the flights wanted, rejects counted on, and the fewest evenings for them; or why not."""
    return compute_season.plan_season(data)


# --- The document ------------------------------------------------------------------------------


@cache
def document() -> dict[str, Any]:
    """The OpenAPI document of the compute API alone."""
    routes = [route for route in router.routes if isinstance(route, ComputeRoute) and route.include_in_schema]
    for route in routes:
        route.complete()
    made = get_openapi(
        title="Grainbook compute API",
        version="1",
        description="SI units throughout, the unit in each field's name. Wrong input is answered with 422 and a list "
        "of faults, each naming its field. Nothing is stored. Predictions show what they assume and promise nothing; "
        "local law, the site's rules and licensed practice come first.",
        routes=routes,
    )
    token = {"type": "http", "scheme": "bearer", "description": "As `grainbook token` prints it."}
    made["components"]["securitySchemes"] = {"token": token}
    made["security"] = [{"token": []}]
    for path, example in _EXAMPLES.items():  # afterwards, for the maker leaves out what is null in an example
        answer = made["paths"][BASE + path]["post"]["responses"]["200"]["content"]["application/json"]
        answer["example"] = example["response"]
    return made


@router.get(BASE + "/openapi.json", include_in_schema=False)
def openapi() -> JSONResponse:
    """The document as JSON."""
    return JSONResponse(document())


@dataclass(frozen=True)
class FieldLine:
    """One field of a model: its name, what it takes, its default, and what it is."""

    name: str
    kind: str
    default: str
    said: str


@dataclass(frozen=True)
class Endpoint:
    """One calculation: its address, what it is, the fields it takes, and an example as JSON."""

    id: str
    path: str
    summary: str
    said: str
    fields: list[FieldLine]
    request: str
    response: str


class ApiPage(Page, template="api/help.html", section="help"):
    """The endpoints of the compute API."""

    about: str
    base: str
    here: str
    endpoints: list[Endpoint]


def _fields(schema: dict[str, Any], name: str) -> list[FieldLine]:
    """One line for each field of a model, those of a model inside it too."""
    model = schema["components"]["schemas"][name]
    rows = []
    for field, about in model["properties"].items():
        kind, more = _kind(about)
        default = "needed" if field in model.get("required", []) else json.dumps(about.get("default"))
        said = ": ".join(part for part in (about.get("title", ""), about.get("description", "")) if part)
        rows.append(FieldLine(field, kind, "" if default == "null" else default, said))
        rows += [replace(row, name=f"{field}.{row.name}") for row in (_fields(schema, more) if more else [])]
    return rows


def _kind(about: dict[str, Any]) -> tuple[str, str]:
    """What a field takes, in words, and the model it is made of if it is."""
    about = {**about, **next((one for one in about.get("anyOf", []) if one.get("type") != "null"), {})}
    if "$ref" in about:
        return "object", about["$ref"].rpartition("/")[2]
    if about["type"] == "array":
        kind, more = _kind(about["items"])
        return f"list of {kind}s", more
    signs = {"exclusiveMinimum": ">", "minimum": "≥", "exclusiveMaximum": "<", "maximum": "≤"}
    limits = ", ".join(f"{sign} {about[key]:g}" for key, sign in signs.items() if key in about)
    return about["type"] + (f" {limits}" if limits else ""), ""


@router.get("/help/api", include_in_schema=False)
def help_page(request: Request, session: Book) -> Response:
    """The endpoints, listed from the document."""
    schema = document()
    endpoints = []
    for path, methods in schema["paths"].items():
        post = methods["post"]
        body = post["requestBody"]["content"]["application/json"]
        answer = post["responses"]["200"]["content"]["application/json"]
        endpoints.append(
            Endpoint(
                id=path.removeprefix(BASE + "/").replace("/", "-"),
                path=path,
                summary=post["summary"],
                said=post["description"],
                fields=_fields(schema, body["schema"]["$ref"].rpartition("/")[2]),
                request=json.dumps(body["examples"]["example"]["value"], indent=2, ensure_ascii=False),
                response=json.dumps(answer["example"], indent=2, ensure_ascii=False),
            )
        )
    here = str(request.base_url).rstrip("/") + BASE
    page = ApiPage(about=schema["info"]["description"], base=BASE, here=here, endpoints=endpoints)
    return render(request, session, page)
