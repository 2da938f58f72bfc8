"""One grain: its geometry as it burns, cores and sections, density and verdict, like grains in sets.

In: sizes and mass. Out: burning area and volume over depth, which motors are marched with; a verdict with reasons.
"""
