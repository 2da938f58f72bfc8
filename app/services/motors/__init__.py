"""Motors designed and built.

`motor_setup` (what one is computed from), `clearance` (whether grains go in the case), `buildable` (what the shelf has
the grains for), `prediction` (what it is expected to do) with its `assumptions` in words and its `burn` in steps,
`designs` (of grains not yet cast), `builds` (of real ones, reserved) with `build_checks`, `core_offset` (a core off
centre). In: forms of motors; what was learned. Out: prediction records, builds.
"""
