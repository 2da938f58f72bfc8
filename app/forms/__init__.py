"""Forms: texts typed by a person, checked by a model, shown again with the faults beside the fields."""

from app.forms.form import (
    Answer,
    BoundField,
    Choice,
    Form,
    Texts,
    _locate,
    _row_model,
    from_texts,
    of_model,
    resent,
    whole,
)

__all__ = [
    "Answer",
    "BoundField",
    "Choice",
    "Form",
    "Texts",
    "_locate",
    "_row_model",
    "from_texts",
    "of_model",
    "resent",
    "whole",
]
