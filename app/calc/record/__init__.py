"""What a stand and an altimeter wrote: text to columns, load cell, curve, pulses, track, barometer.

In: bytes of a logger and how to read them. Out: thrust and pressure of a burn, heights of a flight, and their figures.
"""
