"""The compute API's verbs: the pages' calculations on numbers instead of rows.

`compute`, `compute_motor`, `compute_flight`, `compute_choices` with its `choices_answer`, `compute_season`.
In: an `XIn` of `models.api*`. Out: its `XOut`. No session, nothing stored.
"""
