"""What every calculation stands on: constants, checks of numbers, areas, errors, sentences with numbers, air, water.

In: numbers in SI. Out: the same, checked; `CalcError` where one cannot be. Touches nothing else of the program.
"""
