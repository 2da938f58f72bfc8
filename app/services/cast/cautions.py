"""Cautions of hot casting and of motors, said where the act is.

Common practice, no source; local law, the site's rules and licensed practice come first.
"""

from typing import NamedTuple

LAW = (
    "Making, keeping and flying motors is regulated differently from place to place. Local law, the launch "
    "site's rules and licensed practice come before anything in this book."
)


class CheckLine(NamedTuple):
    """A line of the checklist: marked `again` if it comes again before each melt, with what it covers of those things
    that are never left out (`app.models.checklist.COVERS`).
    """

    words: str
    covers: str = ""
    again: bool = False


FIRST_CHECKLIST: dict[str, list[CheckLine]] = {
    "What hurts worst": [
        CheckLine(
            "Water for burns and small fires is at hand, cool: __ °C/°F. I know that the mixture carries its own "
            "oxygen: it cannot be smothered; if it burns, I leave.",
            "water",
            again=True,
        ),
        CheckLine(
            "An extinguisher stands on the way out, __ m/ft from the heat (about 3 m or 10 ft is right).",
            "water",
            again=True,
        ),
        CheckLine("Face shield, leather gloves, cotton or leather clothes, closed shoes.", "clothes", again=True),
        CheckLine(
            "Nobody else is near, and somebody knows what I am doing and when I shall be done.", "alone", again=True
        ),
        CheckLine("I am rested and sober, and I have time until the cores are pulled.", "fit", again=True),
        CheckLine(
            "Poured grains, and bowls with what is weighed out, stand away from the heat and from where a "
            "spill would run.",
            "away",
            again=True,
        ),
        CheckLine(
            "One hot pan at a time: every melt before this one is poured, and its heat is off.", "one pan", again=True
        ),
        CheckLine("The way out is clear, and nothing stands between it and me."),
        CheckLine(
            "The heat is electric with a control, preferably an induction plate, which has no element that can "
            "light a spill. No gas flame, no exposed element."
        ),
    ],
    "Place and heat": [
        CheckLine("I work in an outbuilding or outdoors, not in a dwelling."),
        CheckLine("Flammables are cleared away, at the sides and above the heat as well."),
        CheckLine(
            "The thermometer is checked (boiling water, or a second thermometer) and can be read from where I stand."
        ),
        CheckLine("The workshop's temperature limit is known, and I stay at the pan while it is hot."),
        CheckLine(
            "I know the first aid for burns: cool running water for 20 minutes, hot sugar off the skin under "
            "water, no ice, no grease, and medical help for anything larger than a coin."
        ),
    ],
    "Material": [
        CheckLine("The batch is small; I make it larger only after the small one went well."),
        CheckLine("The scale shows __ g/oz with its known mass, which is right."),
        CheckLine("Oxidiser was never ground or milled together with the sugars, and will not be."),
        CheckLine(
            "Bags are dry, labelled and closed, and away from igniters and the heat; igniters are not in this room."
        ),
    ],
}
"""The list of a new book, the critical lines first and about nine a screen (Degani & Wiener 1993, NASA CR-177549): what
prevents the worst harm, then the rest.
"""

AT_THE_PLAN = [
    "Small batches first: plan a larger one only after a small one of the same formula went well.",
    "Oxidiser is never ground or milled together with a sugar, neither dry nor to make the melt quicker.",
    "It will be cast in an outbuilding or outdoors, on electric heat with control, never on a gas flame or an exposed "
    "element.",
]

AT_THE_BAGS = [
    "Keep each bag dry, closed and labelled, the oxidiser apart from the sugars, all away from heat, sparks and "
    "igniters.",
    "Grind or dry each thing alone and with its own tools; never oxidiser together with a sugar.",
    "How much of it may be kept, and where, is for your law to say.",
]

AT_THE_PAN = [
    "Electric heat with control, never a flame or an exposed element; stay at the pan.",
    "Face shield, leather gloves, cotton or leather clothes. Nobody else near, the way out clear.",
    "The mixture carries its own oxygen: it cannot be smothered. If it smokes hard or darkens fast, switch off and "
    "leave.",
]

BURNS = (
    "Burns: cool running water for 20 minutes, at once; sticking hot sugar comes off under water, not by pulling; "
    "no ice, no grease; get medical help for anything larger than a coin, and for face or hands."
)

AT_ARMS_LENGTH = {
    "bowl": "Own dry bowl each. Never ground together.",
    "step": "Shield, gloves. Stay at the pan.",
    "pour": "Shield, gloves. Nobody else near.",
    "core": "Hot. Burn: cool water, 20 minutes.",
    "compact": "Hot. Burn: cool water, 20 minutes.",
    "pull": "Left in overnight, rods seize.",
    "bag": "Dry, labelled, away from heat.",
    "grains": "Dry, labelled, away from heat.",
    "wait": "Stay while the pan is hot.",
    "hot": "Smokes hard or darkens: leave.",
    "asked": "Leave the heat as it is.",
    "held": "Nothing new is heated.",
    "close": "Heat off, plug out, water at hand.",
}
"""One line at each act, to be read a metre away; the whole cautions stand folded below it."""

AT_THE_SHELF = [
    "Keep grains dry, sealed and labelled, away from heat, sparks and igniters, in no larger amount than your law "
    "allows."
]

AT_THE_SCRAP = [
    "Local rules on burning, on waste and on what may be kept come before this.",
    "Usual: dissolve it in much water, where that is allowed (the salt is a fertiliser); or burn it outdoors on bare "
    "ground, a little at a time, spread thin, lit from a distance, never in a stove, a drum or a closed thing.",
    "Never in the household's bin, never back into the pan if it is wet, dirty or of unknown make.",
    "It waits like grains do: dry, labelled, away from heat and igniters.",
]

WATER = (
    "Water makes a grain soft, makes it light late and burn unevenly, and lowers what it gives; dried again it may "
    "have cracks. A motor with one may do something else than predicted."
)

AT_THE_MOTOR = [
    "A prediction is not a promise. It stands on the assumptions listed with it; the motor may do something else.",
    "First static tests from far away, behind cover, with nobody in line with either end.",
    "The igniter goes in last, at the pad or the stand, with the way clear.",
]
