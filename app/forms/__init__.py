"""Forms: texts typed by a person, checked by a model, shown again with the faults beside the fields.

A `Form` keeps what was typed, whatever happens. `fields`: what a model says of its fields, and what a template needs to
draw one; `marks`: which of them say that they are needed, or optional; `sent`: what a browser sends, and the tree a
model checks; `refusals`: faults in words; `form`: the form on a page; `spent`: what its once-only token was spent on.
In: texts by name, those of a list's rows as `parts.0.percent`; out: checked data (`XIn`), or the form again.
"""

from app.forms.fields import BoundField, Choice
from app.forms.form import Form, from_texts, words_of
from app.forms.sent import Texts, of_model, resent, whole

__all__ = ["BoundField", "Choice", "Form", "Texts", "from_texts", "of_model", "resent", "whole", "words_of"]
