"""Pages of firings and of loggers' files."""
