"""The compute API."""
