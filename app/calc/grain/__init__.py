"""One grain: its geometry as it burns, the geometries there are, density and verdict, like grains in sets.

In: sizes and mass. Out: burning area and volume over depth, which motors are marched with; a verdict with reasons.
"""
