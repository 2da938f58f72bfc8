"""From a plan to an evening at the pan.

`needs` and `planning` (what melts take), `melts`, `checklists`, `gate` and `hands` (whether hot work may begin),
`casting` (the evening), `entering` and `evenings` (how a batch comes into one), `runsheets`, `steps` and
`sets_poured` (what is done when), `pan`, `air`, `incidents`, `weigh_outs`, `targets`, `bowls` (one at a time),
`at_bench` (what the bench view shows), `leftovers`, `paper`, `editions` of lists and sheets, `cautions`. In: what was
told at the bench. Out: the evening's rows, what is due next. Hot work is opened and refused here, and by triggers of
the same rule in `app.book.guards`. `evening_line` lays the steps of an evening out for its picture. `blanks` are the
numbers that a line of the checklist takes.
"""
