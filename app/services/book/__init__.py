"""The book as a whole, and no subject of it.

`repository` finds and claims rows, `workshop` has the settings, `second_place` those of copies elsewhere, `people` and
`devices` who works here, `drafts` words not saved yet, `last_entry` what a new entry has from the last one,
`stored_files` the files of loggers and pictures, `kept_pictures` what is taken in of a picture, `audit_log`,
`audit_names` and `audit_reasons` the record of changes in words, `serials` and `moments` codes and times as people
write them, `first_minute` how long a slip is taken back at once, `under_way` work that no page waits for, `glass` a
screen's millimetre, `calculation_key` which sources a kept result stands on; `search` finds words,
codes and dates in all of it, `search_kinds` knows where they stand, `search_dates` how days are written. May touch
every table by its name only. In: a session. Out: rows, settings, sentences.
"""
