"""A motor cut along its axis, to scale: case, grains in their tubes, nozzle, and the length left free.

What the book holds no size of, such as the closure and the nozzle's body, is dashed.

>>> from app.drawings.motor_cut import CutGrain, CutNozzle, MotorCut
>>> grain = CutGrain(0.0345, 0.010, 0.055, "25L1-04", 0.963, "96.3 %")
>>> nozzle = CutNozzle(0.00803, 0.019, throat_words="Ø 8.03", exit_words="Ø 19.0")
>>> motor = MotorCut(0.0353, 0.0381, 0.18, (grain,) * 3, nozzle, gap_m=0.002, port_words="Port 1.55 × throat")
>>> round(motor.free_m * 1e3, 1)
11.0
>>> print(motor_section(motor))  # doctest: +ELLIPSIS
<div class="drawing to-scale motor-section"><svg ...
"""

from markupsafe import Markup

from app.drawings.motor_cut import MotorCut, Plan, cut_parts
from app.drawings.sheet import Drawn, drawing, room
from app.drawings.to_scale import FORMS, LINE, Paper, Point, Spot, circle, outline, strokes, together

TALL = {"broad": 11.0, "wide": 8.0, "mid": 5.0, "slim": 4.0}
"""The most height for the case in each form [em]."""


def motor_section(motor: MotorCut, title: str = "The motor in section") -> Markup:
    """The section with its dimension lines; the denser a grain, the closer its hatching."""
    return drawing(
        "to-scale motor-section", title, _in_words(motor), lambda name, width: _form(motor, name, width), FORMS
    )


def _in_words(motor: MotorCut) -> str:
    sizes = (("case, outer diameter", motor.outer_words), ("room for grains", motor.room_words))
    said = [", ".join(f"{name} {words}" for name, words in sizes if words)]
    grains = []
    for number, grain in enumerate(motor.grains, start=1):
        parts = (
            grain.serial or f"grain {number}",
            grain.share_words,
            grain.length_words and f"{grain.length_words} long",
        )
        grains.append(", ".join(part for part in parts if part))
    said.append(f"grains from the closure: {'; '.join(grains) or 'no grain'}")
    said += [f"core {motor.core_words}"] if motor.core_words else []
    said += [f"left free: {motor.free_words}"] if motor.free_words else []
    nozzle = (("throat", motor.nozzle.throat_words), ("exit", motor.nozzle.exit_words))
    said.append(", ".join(f"{name} {words}" for name, words in nozzle if words))
    said.append(motor.port_words)
    said.append("dashed: size not in the book; closer hatching: denser grain")
    return " ".join(f"{words[:1].upper()}{words[1:].rstrip('.')}." for words in said if words)


# --- One form ------------------------------------------------------------------------------------


def _form(motor: MotorCut, name: str, width: float) -> Drawn:
    paper = Paper(width)
    nozzle, whole = motor.nozzle, Plan.of(motor).long(motor)
    exit_words = f"exit {nozzle.exit_words}" if nozzle.exit_words else ""
    roomy = name in ("broad", "wide")
    right = 1.8 + (room(exit_words) if roomy else 0.0)
    left = 1.6 + (room(motor.outer_words) if roomy else 0.0)
    widest = max(motor.outer_d_m, nozzle.exit_d_m)
    scale = min((width - left - right) / whole, TALL[name] / widest)
    left += max(width - left - right - whole * scale, 0.0) / 2
    radius = widest * scale / 2
    inside = all(grain.core_d_m * scale >= 1.15 for grain in motor.grains)
    rows = 1 + (not inside) + bool(motor.core_words) + bool(motor.port_words)
    plan = Plan.of(motor, scale, left, LINE * rows + 0.7 + radius)
    paper.add(*cut_parts(motor, plan))
    height = _words(paper, motor, plan, exit_words)
    paper.note("Closer hatching: denser grain. Dashed: size not in the book.", css="muted")
    return paper.drawn(height)


# --- Its words -----------------------------------------------------------------------------------


def _words(paper: Paper, motor: MotorCut, plan: Plan, exit_words: str) -> float:
    """All words round the section; what has no room at its place is said below. Where the last line ends [em]."""
    half = max(motor.outer_d_m, motor.nozzle.exit_d_m) * plan.scale / 2
    row, foot = plan.axis - half - 0.8, plan.axis + half
    left_out = [words for words in (_throat(paper, motor, plan, row),) if words]
    grains = _grains(paper, motor, plan, row)
    above = row - LINE * (1 if _inside(motor, plan) else 2)
    left_out += _core(paper, motor, plan, above)
    _port(paper, motor, plan, above - LINE * bool(motor.core_words))
    left_out += _exit(paper, motor, plan, exit_words)
    left_out += _case(paper, motor, plan)
    height, below = _below(paper, motor, plan, foot)
    paper.note(together(grains), together([*below, *left_out]))
    return height


def _inside(motor: MotorCut, plan: Plan) -> bool:
    """Whether words have room in every core."""
    return all(grain.core_d_m * plan.scale >= 1.15 for grain in motor.grains)


def _grains(paper: Paper, motor: MotorCut, plan: Plan, row: float) -> list[str]:
    """Names above the grains, shares in their cores or above them; with numbers instead, the names to be listed."""
    places = motor.places
    widest = max((max(room(g.serial, bold=True), room(g.share_words)) + 0.5 for g, _ in places), default=0.0)
    fits = all(widest <= grain.length_m * plan.scale for grain, _ in places)
    level = plan.axis if _inside(motor, plan) else row - LINE
    listed = []
    for number, (grain, start) in enumerate(places, start=1):
        middle = plan.x(start + grain.length_m / 2)
        paper.write(grain.serial if fits else str(number), (middle, row, "middle"), css="strong")
        if not fits:
            listed.append(" ".join(part for part in (str(number), grain.serial, grain.share_words) if part))
        elif not paper.write(grain.share_words, (middle, level, "middle")):
            listed.append(f"{grain.serial} {grain.share_words}")
    return listed


def _led(paper: Paper, words: str, to: Point, spots: list[Spot]) -> bool:
    """Words with a line from below them down to what they tell of."""
    if not words or not paper.write(words, *spots):
        return False
    left, _, right, bottom = paper.taken[-1]
    start = min(max(to[0], left + 0.2), right - 0.2)
    paper.add(strokes([[(start, bottom + 0.1), to]], "leader"))
    return True


def _throat(paper: Paper, motor: MotorCut, plan: Plan, row: float) -> str:
    """The throat's words above it; those that had no room."""
    words = f"throat {motor.nozzle.throat_words}" if motor.nozzle.throat_words else ""
    x = plan.x(motor.room_m + plan.entry_m)
    to = x, plan.axis - motor.nozzle.throat_d_m * plan.scale / 2
    return "" if _led(paper, words, to, [(x - 0.4, row, ""), (paper.width, row, "end")]) else words


def _core(paper: Paper, motor: MotorCut, plan: Plan, row: float) -> list[str]:
    """The core's words above the first grain, led to its edge."""
    words = f"core {motor.core_words}" if motor.core_words else ""
    if not words or not motor.grains:
        return []
    grain, start = motor.places[0]
    x = plan.x(start) + 0.5
    to = x, plan.axis - grain.core_d_m * plan.scale / 2
    return [] if _led(paper, words, to, [(x - 0.4, row, ""), (0.1, row, "")]) else [words]


def _exit(paper: Paper, motor: MotorCut, plan: Plan, words: str) -> list[str]:
    end = plan.x(motor.room_m + plan.entry_m + plan.cone_m)
    edge = motor.nozzle.exit_d_m * plan.scale / 2
    written = paper.upright(plan.axis - edge, plan.axis + edge, end + 1.0, words, (end + 1.4, plan.axis, ""), edge=end)
    return [] if written else [words]


def _case(paper: Paper, motor: MotorCut, plan: Plan) -> list[str]:
    x, edge, half = plan.x(-plan.closure_m) - 1.0, plan.x(-plan.closure_m), motor.outer_d_m * plan.scale / 2
    spot = (x - 0.35, plan.axis, "end")
    written = paper.upright(plan.axis - half, plan.axis + half, x, motor.outer_words, spot, edge=edge)
    return [] if written else [f"case {motor.outer_words}"]


def _port(paper: Paper, motor: MotorCut, plan: Plan, level: float) -> None:
    """What is said of the port, hung at the end of the last core."""
    if not motor.port_words or not motor.grains:
        return
    grain, start = motor.places[-1]
    words = f"? {motor.port_words}" if motor.port_doubt else motor.port_words
    css = "strong over" if motor.port_doubt else "strong"
    x, low = plan.x(start + grain.length_m), plan.axis - grain.core_d_m * plan.scale / 2
    wide = room(words, bold=True)
    if not paper.write(words, (x - 0.8, level, "end"), (max(x - wide * 0.8, 0.1), level, ""), css=css):
        paper.note(words, css=css)
        return
    end = paper.taken[-1][2]
    line = [(end, level), (x, level), (x, low)] if end < x else [(x, level + 0.6), (x, low)]
    css = "leader doubt" if motor.port_doubt else "leader"
    paper.add(strokes([line], css), outline([circle(x, low, 0.2, 12)], f"{css} tip"))


def _below(paper: Paper, motor: MotorCut, plan: Plan, foot: float) -> tuple[float, list[str]]:
    """Dimension lines below the case: where the last of them ends, and the words that had no room."""
    wall, level = plan.axis + motor.outer_d_m * plan.scale / 2, foot + 0.9
    left_out: list[str] = []
    free = f"free {motor.free_words}" if motor.free_words else ""
    for grain, start in motor.places:
        words = grain.length_words
        if words and room(words) + 1.5 > grain.length_m * plan.scale:
            left_out += [told for told in (f"grains {words} long",) if told not in left_out]
            words = ""
        paper.along(plan.x(start), plan.x(start + grain.length_m), level, words, edge=wall)
    if motor.free_m * plan.scale > 0.05 and free:
        if not paper.along(plan.x(0.0), plan.x(motor.free_m), level, free, edge=wall):
            left_out.append(free)
    elif free:
        left_out.append(free)
    level += 1.4
    room_words = f"room {motor.room_words}" if motor.room_words else ""
    if not paper.along(plan.x(0.0), plan.x(motor.room_m), level, room_words, edge=wall):
        left_out.append(room_words)
    return level + 0.8, left_out
