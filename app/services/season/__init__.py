"""From the flights wanted to what is cast, bought and flown.

The record: `seasons` and their `evenings`, `wishes` with what was flown of each (`fulfilled`), `kept_choices`, the
motors that were chosen with their reason, `kept_plans`, plans with what changed and their batches, `kept_answers`,
answers of long calculations by their inputs. In: a season. Out: what is wanted, there, still to cast, and when.
"""
