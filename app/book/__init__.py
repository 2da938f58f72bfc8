"""What keeps the book's file.

Inside it triggers: `guards`, the rules the database itself keeps (made of `session_guards` and `record_guards`), and
`record`, every change. From outside `bookfile` (whether a file is a whole book, and how it is swapped), `logs` (whether
the log beside it is its own), `watch` and `checkpoints` (the same while it is open), `advice` (what to do about a fault
found at the start), `instance` (one program on one book), `backups` with `backup_thread`, `elsewhere` with its thread,
`encryption` and `bring_back` (the second place for copies), `export` and `import_zip`. In: a path. Out: a proved file,
or a refusal in words; nothing by halves.
"""
