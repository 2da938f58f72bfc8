"""Statistics that know nothing of motors.

Control charts, least squares, rank correlation, coverage of ranges, many comparisons, one cut that parts two kinds.
In: samples. Out: estimates with their intervals.
"""
