"""The bar of a range, which stands beside its number: in a table's row, or under a figure.

One mark per meaning: a thick pale bar and a dot for what is expected, nine in ten; × for what was fired or flown; a
triangle for what is wished; long dashes for a limit, which the words beside it name.
"""

from collections.abc import Sequence

from markupsafe import Markup

from app.pens import finite, tag

ROOM = 1.06
"""How far the ruler goes on behind the last thing on it, where nobody says where it ends."""

MIDDLE = ".7em"
UPPER, DEEP = ".35em", ".7em"


def ruler(
    middle: float | None,
    low: float | None = None,
    high: float | None = None,
    *,
    start: float = 0.0,
    end: float | None = None,
    fired: Sequence[float | None] = (),
    wished: float | None = None,
    limit: float | None = None,
    words: str = "",
) -> Markup:
    """A range as a bar, as wide as its place, in any unit that all of its numbers share.

    Rulers that are to be compared take the same start and end; without an end it lies a little behind the last mark.
    What is not known is left out, what lies beyond an end is an arrow there. Without `words` it is a picture of the
    numbers beside it, and not heard. Raises ValueError where the end does not lie behind the start.
    """
    marks = finite([middle, low, high, wished, limit, *fired])
    last = end if end is not None else start + ((max(marks, default=start) - start) * ROOM or 1.0)
    if not last > start:
        raise ValueError(f"a ruler from {start:g} to {last:g} has no length")

    def there(*values: float | None) -> list[float]:
        return [value for value in finite(values) if start <= value <= last]

    def at(value: float) -> float:
        return 100 * min(1.0, max(0.0, (value - start) / (last - start)))

    parts = [tag("line", x1="0", x2="100%", y1=MIDDLE, y2=MIDDLE, class_="base")]
    if len(ends := finite([low, high])) == 2:
        width = _cent(at(ends[1]) - at(ends[0]))
        parts.append(tag("rect", x=_cent(at(ends[0])), width=width, y=UPPER, height=DEEP, class_="range"))
    for value in there(limit):
        parts.append(tag("line", x1=_cent(at(value)), x2=_cent(at(value)), y1="0", y2="1.4em", class_="limit"))
    for value in there(wished):
        parts.append(_mark(at(value), "M-5,5h10l-5,-10Z", "wished"))
    for value in there(*fired):
        parts.append(_mark(at(value), "M-4,-4l8,8M-4,4l8,-8", "fired"))
    for value in there(middle):
        parts.append(tag("circle", cx=_cent(at(value)), cy=MIDDLE, r=".27em", class_="middle"))
    if any(value < start for value in marks):
        parts.append(_mark(0.0, "M4,-6l-7,6l7,6", "beyond"))
    if any(value > last for value in marks):
        parts.append(_mark(100.0, "M-4,-6l7,6l-7,6", "beyond"))
    said = {"role": "img", "aria_label": words} if words else {"aria_hidden": "true"}
    return tag("svg", *parts, class_="ruler", **said)


def _cent(share: float) -> str:
    return f"{share:.2f}".rstrip("0").rstrip(".") + "%"


def _mark(share: float, path: str, css: str) -> Markup:
    """A mark of its own size at its share of the width."""
    return tag("svg", tag("path", d=path, class_=css), x=_cent(share), y=MIDDLE, overflow="visible")
