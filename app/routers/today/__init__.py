"""The day's page."""
