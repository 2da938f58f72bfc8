"""Verbs on the book: plain functions on a session."""
