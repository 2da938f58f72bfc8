"""Pages of bags and formulas."""
