"""A curve without words, for a card among others: its form tells at a glance whether it is a burn.

>>> drawn = small_curve([0.0, 1.0, 2.0], [0.0, 5.0, 0.0], "A burn")
>>> '<path d="M0.0,31.0L50.0,1.0L100.0,31.0" class="line"></path>' in drawn
True
"""

from collections.abc import Sequence

from markupsafe import Markup

from app.pens import tag

WIDE, HIGH = 100.0, 32.0


def small_curve(x: Sequence[float], y: Sequence[float], words: str) -> Markup:
    """A curve over its own whole range of x, from zero to its highest; a gap is where y is no number.

    >>> small_curve([], [], "nothing")
    Markup('')
    """
    finite = [value for value in y if value == value]
    if len(x) < 2 or not finite:
        return Markup("")
    low, high = min(0.0, *finite), max(0.0, *finite)
    span, height = (x[-1] - x[0]) or 1.0, (high - low) or 1.0

    def up(value: float) -> float:
        return HIGH - 1 - (HIGH - 2) * (value - low) / height

    path, pen = "", "M"
    for at, value in zip(x, y, strict=True):
        if value != value:
            pen = "M"
            continue
        path += f"{pen}{WIDE * (at - x[0]) / span:.1f},{up(value):.1f}"
        pen = "L"
    base = f"{up(0.0):.2f}"
    return tag(
        "svg",
        tag("title", words),
        tag("line", x1="0", y1=base, x2=f"{WIDE:g}", y2=base, class_="base"),
        tag("path", d=path, class_="line"),
        role="img",
        viewBox=f"0 0 {WIDE:g} {HIGH:g}",
        preserveAspectRatio="none",
        class_="small-curve",
    )
