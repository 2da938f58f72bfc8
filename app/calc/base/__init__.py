"""What every calculation stands on.

Constants and checks of numbers, the error tree, sentences with numbers, the air.
"""
