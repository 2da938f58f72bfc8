"""One grain: its shape as it burns, cores and sections, density and verdict, matched sets."""
