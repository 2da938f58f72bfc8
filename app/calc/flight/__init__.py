"""From the rail to the ground: wind, drag, ascent, descent, and flights as ranges."""
