"""What firings teach.

`learning` puts kept fits and sticks together into factors for the next prediction, `learning_switch` says where they
are not used, `fit_records` finds the fits, which `firings` makes, `prediction_record` is how a prediction is stored,
`stored_predictions` which one counts for a firing, `learning_pages` what the pages show, `against_prediction` what a
firing says over its own prediction, `next_tests` what tests to come would teach. In: rows of fits. Out: factors with
their spread. Nothing learned is stored but inside a prediction.
"""
