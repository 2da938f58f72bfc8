"""Drawings of bench and desk, made by the server as inline SVG: a workshop drawing on notebook paper.

In: plain numbers in SI, moments in UTC, and words that are ready to be read. Out: Markup. Nothing here knows the book.

Letters keep their size: heights are in em of what is read at the bench (`--read` in static/css/glass.css), places along
a drawing in per cent, and there is no viewBox round it. A drawing that fills its line comes in three forms, each laid
out for the least width it is shown at; static/css/drawings.css shows the one that fits.

- `sheet`: lengths, the room that words take, the frame of a drawing; pens are those of `app.pens`
- `marks`: one mark for each act of an evening
- `time_axis`: clock times along a drawing, with breaks
- `evening_line`, `pan_strip`, `bowls`, `tube_section`: what stands at the bench
- `grain_section`, `lot_strip`: the grain on the scale, and its place among others
- `to_scale`: shapes, hatching, dimension lines and words kept apart, in forms for four widths
- `motor_cut`, `motor_section`, `small_motor`: a motor's parts, the motor with its words, the motor of a list
- `grain_views`, `burn_stages`, `rocket_outline`, `field_plan`, `shelf_boxes`: things to scale
- `small_curve`: a curve of a card among others
- `chain`: what a thing came from and what it became
- `season_line`: weeks with their melts, tests and flights
- `row_plots`: pictures in the cells of a table, all rows on one scale
"""
