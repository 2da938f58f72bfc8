"""Pages of what firings taught."""
