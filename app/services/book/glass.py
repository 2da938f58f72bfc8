"""How many px a millimetre has on a device's glass, found with a bank card held against it; the device alone keeps it.

A card has the same size everywhere: ISO/IEC 7810, format ID-1.
"""

from app.errors import Refused
from app.models.device import GlassIn

CARD_MM = (85.60, 53.98)
"""Width and height of a bank card [mm], ISO/IEC 7810:2019, ID-1."""

LEAST, MOST = 2.0, 12.0
"""What a screen that shows a page can have [px/mm]: 51 to 305 px/in, in the px of a page. Grainbook's own choice."""

USUAL = 112 / 25.4
"""A laptop's [px/mm], where nothing is told; `static/css/glass.css` has it too, and a tablet's."""


def measured(data: GlassIn) -> float:
    """What a drawn card that fits the real one says of the glass [px/mm].

    Raises
    ------
    Refused
        No screen is like that.
    """
    found = data.card_px / CARD_MM[0]
    if not LEAST <= found <= MOST:
        raise Refused(
            f"A card of {data.card_px:g} px would make {found:.3g} px to a millimetre, and screens have {LEAST:g} to "
            f"{MOST:g}: it is between {LEAST * CARD_MM[0]:.0f} and {MOST * CARD_MM[0]:.0f} px wide. Make the drawn "
            "card as wide as the real one, then save.",
            field="card_px",
        )
    return found


def read(kept: str) -> float | None:
    """What a device kept [px/mm]; nothing where it kept none, or none that can be."""
    try:
        found = float(kept)
    except ValueError:
        return None
    return found if LEAST <= found <= MOST else None


def written(px_per_mm: float) -> str:
    """As a device keeps it, and as it stands in an address: a thousandth of a px is a fiftieth of one over a screen."""
    return f"{px_per_mm:.3f}"


def stylesheet(px_per_mm: float) -> str:
    """The style that puts the device's own millimetre in the place of the usual one."""
    return f":root {{ --mm: {written(px_per_mm)}px; }}\n"
