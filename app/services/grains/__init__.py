"""Grains from the scale to the shelf.

`weighing` (figures and verdict), `grains` (weighed, looked up), `looks` (what was seen), `decisions` (and bags),
`bagging` (the evening's step of it), `flow` (what comes next), `bench` (the next one), `finding` and `cast_notes` (one
in the hand), `labels`, `shelf`, `reweighs` and `wet`, `rejects` and `waste`, `test_pieces`, `lots`, `sets` of like
grains, `from_paper`, `undo`. In: weights and sizes. Out: grains with their state, which motors are built of; a lot's
balance.
"""
