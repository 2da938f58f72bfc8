"""The book as a whole.

Rows found and claimed, settings, people and devices, drafts, and the record of changes in words.

May touch every table by its name only; knows nothing of casting. In: a session. Out: rows, settings, sentences.
"""
