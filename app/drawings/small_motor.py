"""A motor without words, for a list: some of them at one scale tell which is the larger and which grains are there.

Filled is on the shelf, dashed is still to cast; `CutGrain.state` says which.

>>> from app.drawings.motor_cut import CutGrain, CutNozzle, MotorCut
>>> grain = CutGrain(0.0345, 0.010, 0.055, state="ready")
>>> motor = MotorCut(0.0353, 0.0381, 0.18, (grain,) * 3, CutNozzle(0.00803, 0.019))
>>> print(small_motor(motor, "Dunlin", "3 of 3 grains are on the shelf."))  # doctest: +ELLIPSIS
<div class="drawing own-width small-motor"><svg ...
"""

from markupsafe import Markup

from app.drawings.motor_cut import MotorCut, Plan, cut_parts
from app.drawings.sheet import Drawn, picture
from app.drawings.to_scale import sized

SCALE = 36.0
"""A motor of a list is drawn at [em/m]: one of 180 mm is 8 em long."""


def small_motor(motor: MotorCut, title: str, words: str, scale: float = SCALE) -> Markup:
    """A motor of a list at a scale [em/m], the same for all of the list; its numbers are told in `words`."""
    radius = max(motor.outer_d_m, motor.nozzle.exit_d_m) * scale / 2
    plan = Plan.of(motor, scale, 0.6, radius + 0.1)
    drawn = Drawn(sized(cut_parts(motor, plan)), 2 * radius + 0.2)
    return picture("small-motor", title, words, drawn, plan.long(motor) + 1.2)
