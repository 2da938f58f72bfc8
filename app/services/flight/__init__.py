"""What a rocket does with a motor.

Flights with their range, what to look at before them, heights by number of grains.
"""
