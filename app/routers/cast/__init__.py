"""Pages of plan, checklist, session and run sheet."""
