"""Pages of designs, builds and cores."""
