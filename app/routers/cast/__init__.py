"""Pages of plan, checklist, session and run sheet, and the editions of both lists."""
