"""The compute API: a way in for scripts and spreadsheets that no page uses, and the help page that shows it."""
