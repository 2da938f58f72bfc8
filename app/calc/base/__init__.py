"""What every calculation stands on: constants and checks of numbers, areas, errors, sentences with numbers, the air.

In: numbers in SI. Out: the same, checked; `CalcError` where one cannot be. Touches nothing else of the program.
"""
