"""What a record says of the propellant.

In: a burn's pressure or thrust, and the motor it came from. Out: rate, c* and nozzle against the defaults; a law of
one's own; all firings pooled into factors with what chance leaves open.
"""
