"""What is kept and used again.

Tubes, rods, patterns, cases with closures, nozzles with their throats, rockets, fields.
"""
