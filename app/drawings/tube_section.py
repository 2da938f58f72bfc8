"""A casting tube cut along its axis, to scale: what is in it at a step, and which way the hand goes."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from markupsafe import Markup

from app.drawings.sheet import Drawn, at, box, dimension, em, hatched, picture, put, room, scaled
from app.pens import line

Act = Literal["pour", "core", "compact", "pull"]

HEIGHT, RISE = 4.4, 3.6
"""Of the tube, and of what stands above it [em]: the same for every step, so that the picture does not jump."""

_SAID: dict[Act, str] = {
    "pour": "The tube is filled with melt; no rod yet.",
    "core": "The rod goes down the middle to the stop.",
    "compact": "A tamper presses the melt down round the rod.",
    "pull": "The rod is pulled up out of the grain.",
}
DOWN, UP = "M-4,-10H4V1H9L0,10L-9,1H-4Z", "M-4,10H4V-1H9L0,-10L-9,-1H-4Z"


@dataclass(frozen=True)
class Tube:
    """Sizes of a tube, its rod and its grain [m], each with its words where it is to be written at a dimension line.

    `tube_length_m` is as cut; without one it ends with the grain. A pattern without a tube has a wall of nothing.
    """

    inner_d_m: float
    outer_d_m: float
    rod_d_m: float
    grain_length_m: float
    tube_length_m: float | None = None
    length_words: str = ""
    outer_words: str = ""
    rod_words: str = ""


def tube_section(tube: Tube, act: Act, title: str = "") -> Markup:
    """The tube on its plate at a step of its set."""
    scale = HEIGHT / max(tube.tube_length_m or 0.0, tube.grain_length_m)
    names = {"pour": "Pour", "core": "Set the core", "compact": "Compact", "pull": "Pull the core"}
    words = [_SAID[act]]
    told = (("Tube, outer diameter", tube.outer_words), ("Rod", tube.rod_words), ("Grain, length", tube.length_words))
    words += [f"{name} {size}." for name, size in told if size]
    dims = room(tube.length_words) + 0.9 if tube.length_words else 0.4
    width = max(tube.outer_d_m * scale + 1.4, 3.0) + dims
    drawn = Drawn([*_drawn(tube, act, scale, (width - dims) / 2)], RISE + HEIGHT + 0.6)
    return picture("tube-section", title or names[act], " ".join(words), drawn, width)


def _drawn(tube: Tube, act: Act, scale: float, middle: float) -> Iterator[Markup]:
    floor = RISE + HEIGHT
    inner, outer, rod = (d * scale / 2 for d in (tube.inner_d_m, tube.outer_d_m, tube.rod_d_m))
    rod = min(rod, inner * 0.95)  # a rod that is told to be wider than its tube
    high = (tube.tube_length_m or tube.grain_length_m) * scale
    grain = tube.grain_length_m * scale
    yield box(em(middle - outer - 0.6), em(floor), em(2 * outer + 1.2), em(0.45), "plate")
    cored = act != "pour"
    lift = {"pour": 0.0, "core": 0.4, "compact": 0.0, "pull": 0.45}[act] * grain
    for side in (-1, 1):
        near, far = (rod if cored else 0.0), inner
        x = middle + (near if side > 0 else -far)
        if cored:
            yield hatched(em(x), em(floor - grain), em(far - near), em(grain), "hatched melt")
        wall = max(outer - inner, 0.08)
        yield box(em(middle + (inner if side > 0 else -inner - wall)), em(floor - high), em(wall), em(high), "wall")
    if not cored:
        yield hatched(em(middle - inner), em(floor - grain), em(2 * inner), em(grain), "hatched melt")
    if act == "core":  # where the rod will stand, and the rod above it on its way
        yield box(em(middle - rod), em(floor - grain), em(2 * rod), em(grain), "ghost")
    if cored:
        length = grain * (1.18 if act == "compact" else 0.98)
        yield box(em(middle - rod), em(floor - lift - length), em(2 * rod), em(length), "rod")
        if act == "pull":
            yield at(em(middle), em(floor - lift - length - 0.75), scaled(UP, "hand", 1.2))
        if act == "core":
            yield at(em(middle), em(floor - lift - length - 0.75), scaled(DOWN, "hand", 1.2))
    if act == "compact":
        ring = (inner + rod) / 2
        for side in (-1, 1):
            wide = (inner - rod) * 0.8
            yield box(em(middle + side * ring - wide / 2), em(floor - grain - 0.9), em(wide), em(0.9), "tamper")
            yield at(em(middle + side * ring), em(floor - grain - 1.55), scaled(DOWN, "hand", min(1.1, 2 * ring * 0.9)))
    if act == "pour":
        yield at(em(middle), em(floor - high - 0.75), scaled(DOWN, "hand", 1.2))
    if tube.length_words:
        x = middle + outer + 1.0
        for y in (floor - grain, floor):
            yield line(em(middle + outer + 0.15), em(y), em(x + 0.2), em(y), "thin")
        yield from dimension(floor - grain, floor, x, upright=True)
        yield put(tube.length_words, em(x + 0.3), floor - grain / 2, "")
