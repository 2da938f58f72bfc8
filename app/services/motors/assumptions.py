"""What a prediction takes for granted, in sentences."""

from app.calc.base.notes import Amount, Note, joined
from app.calc.motor.simulation import MotorRun
from app.calc.propellant.thermochem import BlendState
from app.models import Workshop
from app.services.hardware import closures
from app.services.hardware.throats import Known
from app.services.learning.prediction_record import LearnedFactors, learned_words
from app.services.motors.motor_setup import USUAL_EXPANSION, Setup
from app.services.stock import formulas


def assumptions_of(
    setup: Setup, house: Workshop, state: BlendState, run: MotorRun, growth: float, taught: LearnedFactors
) -> list[Note | str]:
    """What one prediction takes for granted; `growth` of the throat in m."""
    made: list[Note | str] = [
        joined(
            f"Blend: {setup.formula.label}, burned to equilibrium at",
            Note(
                f"{{pressure}}, the motor's own mean pressure: {{hot}}, c* {{c_star}}, condensed "
                f"{state.condensed_fraction:.0%}.",
                {
                    "pressure": Amount(state.pressure, "pressure"),
                    "hot": Amount(state.temperature, "hot_temperature"),
                    "c_star": Amount(state.c_star, "gas_speed", 0),
                },
            ),
        ),
        *run.assumptions,
        learned_words(taught, house.c_star_efficiency_share, house.nozzle_efficiency_share),
        Note(
            "Grains stand {gap} apart, so that their end faces burn; the case is filled by them, their tubes and gas.",
            {"gap": Amount(house.grain_gap_m, "length")},
        ),
        Note(
            "Pressures are absolute; the rating and the proof test of a case are pressures above the air outside, so "
            "the comparison is about {air} on the cautious side.",
            {"air": Amount(1e5, "pressure", 1)},
        ),
        Note(
            "The wall is taken to be at {wall} at the peak: a liner keeps it so, or it does not.",
            {"wall": Amount(closures.wall_temperature(setup.case), "temperature")},
        ),
        "What the igniter does and how the rate grows with heat are the workshop's settings: assumptions, not "
        "measurements.",
    ]
    if formulas.own_law(setup.formula) is not None:
        made.append(
            "The burn law is this formula's own, used instead of the published one; it is drawn with the spread of a "
            f"published law, {taught.rate.default_spread:.0%}, narrowed by what firings taught; that is an assumption."
        )
    if setup.case.closure == "":
        made.append("What holds the closures is not in the book: they are in no figure here.")
    if setup.as_designed:
        made.insert(0, "Grains as designed, all alike: the pattern's sizes at the expected density.")
    else:
        made.insert(0, "Each grain with its own mass and sizes; sizes not measured are its pattern's.")
    if growth:
        made.append("The throat grows in this burn by what it grew per firing so far, by the nozzle's history.")
    if words := throat_words(setup.throat_known):
        made.append(words)
    if setup.nozzle is None:
        made.append(f"No nozzle is chosen: exit area {USUAL_EXPANSION:g} times the throat's, 15 degrees half angle.")
    elif setup.nozzle.divergence_rad is None:
        made.append("The nozzle's divergence is not in the book: 15 degrees half angle is assumed.")
    return made


def throat_words(known: Known) -> Note | None:
    """What a throat not measured today adds to the range, or nothing."""
    if not known.days and not known.firings:
        return None
    since = f"{known.days} day{'s' * (known.days != 1)} ago" if known.days else "today"
    if known.firings:
        since += f", and {known.firings} motor{'s were' if known.firings > 1 else ' was'} fired through it since"
    return Note(
        f"The throat was measured {since}: it is drawn ±{{drawn}} instead of ±{{callipers}}, an assumption. Measured "
        "today, the range is narrower.",
        {"drawn": Amount(known.spread, "length"), "callipers": Amount(Known().spread, "length")},
    )
