"""Motors designed and built.

`clearance` (whether grains go in the case), `prediction` (what a motor is expected to do), `designs` (of grains not yet
cast), `builds` (of real ones, reserved), `core_offset` (a core off centre). In: forms of motors; what was learned. Out:
prediction records, builds.
"""
