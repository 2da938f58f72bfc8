"""What keeps the book's file.

- Rules that the database itself keeps (triggers): `guards`, made of `session_guards` with `gate_rule`,
  `record_guards` and `season_guards`; `record`, every change.
- Whether all is there and as it was written: `chain`, the record's hashes, `mark`, how far it had come, `missing` and
  `notices`, what the start tells of it; `column_rules` and `rows`, what a value may be, `left_out`, what no page reads;
  `check`, all of it asked.
- The file from outside: `bookfile` (whether a file is a whole book, and how it is swapped), `logs` (whether the log
  beside it is its own), `watch` and `checkpoints` (the same while it is open), `advice` (what to do about a fault found
  at the start), `instance` (one program on one book), `rights`, `sqlite_needs`; `filestore`, what loggers wrote and
  pictures, beside the book.
- Copies: `backups` with `backup_thread`; `elsewhere` with its thread, `encryption` and `bring_back`, the second place;
  `export` and `import_zip`.

In: a path. Out: a proved file, or a refusal in words; nothing by halves.
"""
