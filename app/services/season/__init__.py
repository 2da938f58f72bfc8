"""From the flights wanted to what is cast, bought and flown.

The record: `seasons` and their `evenings`, `wishes` with what was flown of each (`fulfilled`), `kept_choices`, the
motors that were chosen with their reason and `figures`, `kept_plans`, plans with what changed and their batches,
`kept_answers`, answers of long calculations by their inputs. What it comes to: `expected`, what a motor would do for a
wish, `overview`, all wishes against the shelf, `shelf_sets`, what lies there as sets of even masses; `next_step`, what
is to do next, `seasons_seen`, all of them in one picture, `tests_worth`, what tests would teach; `shopping`, what is
short, by when and in which sizes, `costs`. Motors for a wish: `planned_for`, the wind and
the delays they are looked for with, `motor_search`, what the workshop has in numbers,
`searches` as they run, `motor_answer`, what one came to, `choices`, looked at and kept. The casting: `casting_inputs`,
from the book to the calculation, `casting`, the plan worked out and read back, `casting_changes`, what is otherwise and
why, `opening`, an evening made into its batches; `calendar_days`, all of it day by day, `calendar_file`, the same as
iCalendar. In: a season. Out: what is wanted, there, still to cast, and when.
"""
