"""From the flights wanted to what is cast, bought and flown.

The record: `seasons` and their `evenings`, `wishes` with what was flown of each (`fulfilled`), `kept_choices`, the
motors that were chosen with their reason and `figures`, `kept_plans`, plans with what changed and their batches,
`kept_answers`, answers of long calculations by their inputs. What it comes to: `expected`, what a motor would do for a
wish, `overview`, all wishes against the
shelf; `next_step`, what is to do next. In: a season. Out: what is wanted, there, still to cast, and when.
"""
