"""Statistics that know nothing of motors.

Control charts, least squares, correlations, intervals, many comparisons.
"""
