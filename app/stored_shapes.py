"""The shapes of stored figures: each column of JSON with the class that its pages read it into."""

import json
from collections.abc import Mapping
from functools import cache
from typing import Any

from app.book.column_rules import Shape


@cache
def shapes() -> Mapping[tuple[str, str], Shape]:
    """How each is read, by table and column; what reads raises where the shape is another."""
    from pydantic import TypeAdapter

    from app.calc.propellant.thermochem import BlendState
    from app.models.checklist import NumberSaid
    from app.services.firings.reading import Result
    from app.services.firings.tracking import TrackResult
    from app.services.learning.fit_records import FitRecord
    from app.services.learning.prediction_record import Inputs, PredictionRecord
    from app.services.season.casting import KeptResult

    texts: TypeAdapter[Any] = TypeAdapter(dict[str, str])
    lines: TypeAdapter[Any] = TypeAdapter(list[tuple[str, str]])
    fields: TypeAdapter[Any] = TypeAdapter(dict[str, list[str]])
    state: TypeAdapter[Any] = TypeAdapter(BlendState)
    inputs: Any = Inputs
    bare = inputs.model_construct()  # they stand in a column of their own

    def figures(text: str) -> object:
        return PredictionRecord.model_validate({**json.loads(text), "inputs": bare})

    plain: TypeAdapter[Any] = TypeAdapter(dict[str, Any])
    result: TypeAdapter[Any] = TypeAdapter(KeptResult)
    sentences: TypeAdapter[Any] = TypeAdapter(list[str])
    numbers: TypeAdapter[Any] = TypeAdapter(list[NumberSaid])

    return {
        ("checklist_answer", "numbers_json"): numbers.validate_json,
        ("curve", "reading_json"): texts.validate_json,
        ("curve", "result_json"): Result.model_validate_json,
        ("stand_reading", "heads_json"): sentences.validate_json,
        ("stand_reading", "reading_json"): texts.validate_json,
        ("altimeter_track", "reading_json"): texts.validate_json,
        ("altimeter_track", "result_json"): TrackResult.model_validate_json,
        ("blend_state", "state_json"): state.validate_json,
        ("firing_fit", "fit_json"): FitRecord.model_validate_json,
        ("prediction", "inputs_json"): Inputs.model_validate_json,
        ("prediction", "result_json"): figures,
        ("motor_choice", "figures_json"): plain.validate_json,
        ("season_plan", "inputs_json"): plain.validate_json,
        ("season_plan", "result_json"): result.validate_json,
        ("season_plan", "changes_json"): sentences.validate_json,
        ("kept_answer", "answer_json"): plain.validate_json,
        ("draft", "values_json"): lines.validate_json,
        ("once_token", "sent_json"): fields.validate_json,
    }
