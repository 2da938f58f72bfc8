"""From the rail to the ground: wind, drag, ascent, descent, flights as ranges.

In: thrust over time, rocket, field, weather. Out: height, speeds, drift, as expected and as ranges.
"""
