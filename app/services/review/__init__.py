"""Looking back.

`burned_motors` reads each motor that burned with all that is known of it; `delivered`, `correlations`,
`good_against_bad`, `failures`, `coverage` (whether ranges held) and `lots_review` with `lot_firings` judge them by
`properties`; `trace` walks to the bag, `exports` makes tables. In: a filter. Out: figures with their intervals;
nothing is stored.
"""
