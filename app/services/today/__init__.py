"""The day at a glance, and the first rows of a new book."""
