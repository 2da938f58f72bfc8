"""Pages that look back."""
