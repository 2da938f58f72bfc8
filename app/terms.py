"""Words of the trade and of statistics, each told in a sentence or two: what a page shows at one touch on the word."""

from collections.abc import Mapping

TERMS: Mapping[str, str] = {
    "c*": (
        "characteristic velocity: pressure times throat area, over the mass that flows out in a second. It tells how "
        "much a propellant and its burning give, whatever the nozzle does behind the throat."
    ),
    "condensed share": (
        "what part of the mass that leaves the nozzle is liquid or solid and not gas. With potassium nitrate it is "
        "mostly potassium carbonate, and close to half: it carries heat and pushes little."
    ),
    "Holm": (
        "a correction for asking many questions of the same few firings: by chance alone one in twenty looks like "
        "something. A p after Holm is already made larger for how many were asked."
    ),
    "Kn": (
        "burning surface over throat area. More surface or a smaller throat raises it, and with it the pressure; along "
        "the burn it follows the shape of the grains."
    ),
    "web": "the least thickness of propellant that burns through, from one burning face to the next or to the wall.",
}
"""What each is, continuing the sentence that its name begins."""
