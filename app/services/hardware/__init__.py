"""What is kept and used again.

`inventory` (tubes, rods, patterns, cases, nozzles), `shapes` (a pattern's geometry), `closures`, `throats` as measured,
`drills` they can be opened with, `places` (fields and rockets), `distances`, `instrument_checks` (scales and
thermometers). In: their forms. Out: rows, checked, and what calculations need of them.
"""
