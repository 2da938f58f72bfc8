"""Grains, nozzle and chamber put together.

In: grains, a blend's state and law, nozzle and case bore. Out: pressure and thrust over time, alone and as ranges, and
what to be warned of. Nothing here says that a motor is safe.
"""
