"""Grains, nozzle and chamber put together: pressure and thrust over time, alone and as ranges."""
