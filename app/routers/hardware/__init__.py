"""Pages of what is kept and used again."""
