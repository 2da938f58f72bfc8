"""Looking back.

`burned_motors` reads each motor that burned with all that is known of it; `delivered`, `correlations`,
`good_against_bad`, `failures`, `coverage` (whether ranges held), `lots_review` with `lot_firings`, and `lot_standing`
(a lot among its neighbours) judge them by `properties`; `flown_well` says which lots flew well, `lot_rows` what is
drawn of each; `trace` walks to the bag, `lineage` tells the way of a thing both ways, `exports` makes tables. In: a
filter. Out: figures with their intervals; nothing is stored.
"""
