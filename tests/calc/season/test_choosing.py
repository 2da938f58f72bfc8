"""The search for motors: each design against the same motor run alone, the rules by brute force, bounds and changes.

Checks are exact laws (conservation of mass, Newton's second law, plane geometry), counting, and the program's own
single-motor calculations, which have their outside checks beside them.
"""

from dataclasses import replace
from functools import cache
from math import pi, radians

import numpy as np
import pytest

from app.calc.base.errors import CalcError
from app.calc.flight.flight import fly
from app.calc.flight.flight_range import MotorDraws, drawn_from_marks, fly_range, shares_about
from app.calc.flight.launch import Motor as Push
from app.calc.flight.launch import Pad, Rocket
from app.calc.flight.recovery import Parachute, Recovery
from app.calc.flight.wind import at_the_rail
from app.calc.grain.geometry import Grain
from app.calc.motor.chamber import come_up
from app.calc.motor.simulation import MotorRun, motor_arrays, simulate, simulate_many
from app.calc.motor.uncertainty import MotorRange, predict_range
from app.calc.propellant.burn_laws import published_law
from app.calc.season.choosing import Choices, Effort, Progress, Standing, choose
from app.calc.season.designs import designs_of
from app.calc.season.example import example_hardware
from app.calc.season.expected import Expected, look_at_all
from app.calc.season.hardware import Case, Formula, Hardware, Nozzle, Pattern
from app.calc.season.launch import Launch, edges_along, nearest_edge
from app.calc.season.nothing_possible import why_not
from app.calc.season.ranged import spread_of
from app.calc.season.refusals import refusals
from app.calc.season.screening import Fault, screen, surely_over

SMALL = Effort(wanted=1000, most_ranged=1000, samples=32, flights=32)

RECOVERY = Recovery(Parachute(0.9, 0.75))

ROCKET = Rocket(2.0, 0.08, 0.5, recovery=RECOVERY)

PAD = Pad(2.2, -0.03, elevation=50.0, wind=3.0, turning=0.5)

WIDE = Launch(ROCKET, PAD, ceiling=1300.0, edges=(350.0, 400.0), nearest_edge=80.0, wish=(500.0, 700.0))


def draws(run: MotorRun, drawn: MotorRange) -> MotorDraws:
    """32 motors between the marks of a range, as the flight page draws them."""
    low, high = shares_about(run.total_impulse, drawn.total_impulse.low, drawn.total_impulse.high)
    fast, slow = shares_about(run.burn_time, drawn.burn_time.low, drawn.burn_time.high)
    return drawn_from_marks(low, high, fast, slow, 32)


def of_law(name: str, fired: int = 0) -> Formula:
    """The example's formula with another published law."""
    return replace(example_hardware().formulas[0], name=name, law=published_law(name), fired=fired)


@cache
def hardware() -> Hardware:
    """Two cases, three nozzles, three patterns of which two are of one diameter, two formulas: every rule is met."""
    usual = example_hardware()
    patterns = tuple(
        Pattern(name, Grain(outer, core, length, 0.1), 0.95)
        for name, outer, core, length in (
            ("wide", 0.04445, 0.01905, 0.0762),
            ("open", 0.04445, 0.0235, 0.0762),
            ("thin", 0.030, 0.013, 0.060),
        )
    )
    cases = (
        Case("long", 0.0472, 0.32, 7e6, "the rating in the book", empty_mass=0.7),
        Case("narrow", 0.0325, 0.32, 6e6, "the rating in the book", empty_mass=0.4),
    )
    nozzles = (Nozzle("tight", 0.0095, 0.030), Nozzle("usual", 0.0125, 0.033, throat_growth=2e-4, throat_spread=1e-4))
    return Hardware(
        cases,
        nozzles,
        patterns,
        (of_law("sorbitol", fired=3), of_law("sucrose")),
        drills=(0.0105, 0.0135, 0.016, 0.0185),
        day=usual.day,
        least_port=1.3,
    )


@cache
def fewer() -> Hardware:
    """Of these what can be ranged to the last in a moment."""
    long = replace(hardware().cases[0], chamber_length=0.24)
    return replace(hardware(), cases=(long,), patterns=hardware().patterns[:2], drills=(0.0105, 0.0135))


@cache
def all_of() -> Choices:
    return choose(fewer(), WIDE, SMALL)


@cache
def as_expected() -> Choices:
    return choose(hardware(), WIDE, replace(SMALL, most_ranged=0))


# --- What there is -------------------------------------------------------------------------------


def test_every_design_is_there_once() -> None:
    """By counting: five throats of the tight nozzle, four of the usual one, none drilled past its exit; the long case
    takes four of its length, so 4 + 4 of each wide pattern alone, 3 + 2 + 1 mixtures of both, and 5 of the thin one."""
    designs = designs_of(hardware())
    stacks = {
        (designs.case[i], designs.stacks[designs.stack[i]].words(hardware().patterns)) for i in range(len(designs))
    }
    long = [words for case, words in stacks if case == 0]
    assert len(long) == 4 + 4 + 6 + 5
    assert "1 wide and 3 open" in long  # the wider core aft
    assert sorted(words for case, words in stacks if case == 1) == [f"{n} thin" for n in range(1, 6)]
    throats = {
        (int(designs.nozzle[i]), float(designs.throat_d[i])) for i in range(len(designs)) if designs.case[i] == 0
    }
    assert len(throats) == 5 + 4
    rows = np.stack([designs.case, designs.nozzle, designs.formula, designs.stack]).T
    assert len(designs) == len({(*row, throat) for row, throat in zip(rows.tolist(), designs.throat_d, strict=True)})
    # the usual nozzle's exit (33 mm) is wider than the narrow case (32.5 mm)
    assert set(designs.nozzle[designs.case == 1].tolist()) == {0}
    assert [str(note) for note in designs.left_out] == [
        "wide is 0.01195 [SI, length] too wide for narrow.",
        "open is 0.01195 [SI, length] too wide for narrow.",
    ]


def test_what_there_is_none_of_makes_no_design() -> None:
    nothing = choose(replace(hardware(), nozzles=()), WIDE)
    assert (len(nothing.designs), nothing.best, nothing.stopped) == (0, (), False)
    many = replace(hardware(), drills=tuple(np.linspace(0.0126, 0.0299, 2000)))
    with pytest.raises(CalcError, match=r"no more are looked at"):
        designs_of(many)
    few = replace(hardware(), patterns=tuple(replace(p, most=2, formulas=frozenset({1})) for p in hardware().patterns))
    found = designs_of(few)
    assert set(found.formula.tolist()) == {1}
    assert max(max(n for _, n in stack.parts) for stack in found.stacks) == 2


# --- The same alone ------------------------------------------------------------------------------


@pytest.mark.promise("A motor chosen gives the same numbers run again alone")
def test_a_motor_chosen_gives_the_same_numbers_run_again_alone() -> None:
    """Against the calculations of a single motor and a single flight; figures of the whole batch to a thousandth."""
    found = all_of()
    assert len(found.best) > 10
    house, pad = found.designs.hardware, PAD
    for index in found.best[::4]:
        ranged, motor = found.ranged[index], found.designs.motor(index)
        assert motor.throat_d == found.designs.throat_d[index]
        alone = simulate(motor, house.least_port)
        assert alone.peak_pressure == ranged.run.peak_pressure
        assert alone.total_impulse == ranged.run.total_impulse
        limit = house.cases[found.designs.case[index]].limit
        drawn = predict_range(motor, spread_of(found.designs, index), 32, 20, limit, seen=0.0)
        assert drawn.peak_pressure == ranged.range.peak_pressure
        dry = 2.0 + house.cases[found.designs.case[index]].empty_mass
        push = Push(alone.time[alone.rising], alone.thrust[alone.rising], alone.propellant_mass)
        flight = fly(push, replace(ROCKET, dry_mass=dry), pad)
        assert ranged.flight is not None
        assert ranged.flight.highest == pytest.approx(flight.highest, rel=1e-5)
        flown = fly_range(
            push, replace(ROCKET, dry_mass=dry), pad, draws(alone, drawn), None, 1300.0, (350.0, 400.0), samples=32
        )
        assert ranged.flights is not None
        assert flown.highest == ranged.flights.highest
        e = found.expected
        batch = [e.peak_pressure[index], e.total_impulse[index], e.burn_time[index], e.apogee[index]]
        single = [alone.peak_pressure, alone.total_impulse, alone.burn_time, flight.apogee]
        assert batch == pytest.approx(single, rel=1e-3)
        assert e.rail_exit_speed[index] == pytest.approx(flight.rail_exit_speed, rel=1e-3)
        assert e.coast_time[index] == pytest.approx(flight.coast_time, rel=1e-3)


def test_designs_as_arrays_are_the_motors_as_arrays() -> None:
    designs = designs_of(hardware())
    rows = np.flatnonzero(screen(designs, np.arange(len(designs), dtype=np.int32)) == 0)[::17].astype(np.int32)
    a, b = designs.arrays(rows), motor_arrays([designs.motor(int(row)) for row in rows])
    for name in (
        "outer_r",
        "core_r",
        "length",
        "mass",
        "ends",
        "chamber_volume",
        "throat_d",
        "throat_growth",
        "exit_d",
    ):
        assert getattr(a, name) == pytest.approx(getattr(b, name), rel=1e-12), name
    for name in ("c_star", "gamma", "flow_function", "nozzle_efficiency", "rate_scale", "law_level", "law_slope"):
        assert getattr(a, name) == pytest.approx(getattr(b, name), rel=1e-3), name


# --- The rules, by brute force -------------------------------------------------------------------


def by_hand(found: Choices, index: int) -> bool:
    """Whether a design keeps every rule, each asked of a motor and flight computed alone."""
    designs, launch, house = found.designs, found.launch, found.designs.hardware
    assert launch is not None
    try:
        motor = designs.motor(index)
        run = simulate(motor)
        limit = house.cases[designs.case[index]].limit
        drawn = predict_range(motor, spread_of(designs, index), 32, 20)
    except CalcError:
        return False
    assert motor.port_to_throat is not None
    if motor.port_to_throat < house.least_port or motor.slenderness >= 8:
        return False
    if max(run.peak_pressure, drawn.peak_pressure.high) > limit or drawn.stays_low > 0.05:
        return False
    dry = 2.0 + house.cases[designs.case[index]].empty_mass
    push = Push(run.time[run.rising], run.thrust[run.rising], run.propellant_mass)
    try:
        flight = fly(push, replace(ROCKET, dry_mass=dry), PAD)
        flown = fly_range(
            push, replace(ROCKET, dry_mass=dry), PAD, draws(run, drawn), None, 1300.0, (350.0, 400.0), samples=32
        )
    except CalcError:
        return False
    slow = min(flight.rail_exit_speed, flown.rail_exit_speed.low)
    rail = at_the_rail(slow, 2.2, -0.03, 3.0, 4.5, 2.0, radians(20))
    kept = ((flown.above_ceiling or 0.0) <= 0.1) & ((flown.outside_field or 0.0) <= 0.1) & (flown.kept >= 0.9)
    return bool(slow >= 13.0 and rail.gust_angle <= radians(20) and flight.highest <= 1300.0 and kept)


def test_what_is_possible_is_what_keeps_every_rule() -> None:
    """Each design that the search refused or let pass, asked again by itself, in steps through all of them."""
    found = all_of()
    assert found.counts()[Standing.NOT_RANGED] == 0
    looked = {int(i): by_hand(found, int(i)) for i in range(0, len(found.designs), 3)}
    assert {i for i, possible in looked.items() if possible} == set(looked) & set(found.best)
    assert sum(looked.values()) > 5


def test_the_order_is_the_rule() -> None:
    found = all_of()
    keys = []
    for i in found.best:
        height = float(found.expected.apogee[i])
        missed = max(500.0 - height, height - 700.0, 0.0)
        d = found.designs
        fired = d.hardware.formulas[d.formula[i]].fired > 0
        keys.append((missed, not fired, round(float(d.drilled[i]), 6), float(d.propellant_mass[i])))
    assert keys == sorted(keys)
    assert keys[0][0] == 0.0


def test_a_few_possible_ones_are_enough_and_the_rest_says_that_it_was_not_ranged() -> None:
    few = choose(fewer(), WIDE, replace(SMALL, wanted=3))
    assert len(few.best) == 3
    counts = few.counts()
    assert counts[Standing.NOT_RANGED] > 10
    assert counts[Standing.NOT_SEEN] == 0
    assert set(few.best) <= set(all_of().best)


def test_a_search_can_be_stopped_and_says_so() -> None:
    said: list[Progress] = []

    def no_more(progress: Progress) -> bool:
        said.append(progress)
        return progress.doing == "looking at designs" or progress.done < 2

    found = choose(fewer(), WIDE, SMALL, no_more)
    assert found.stopped
    assert len(found.ranged) == 2
    assert said[-1].total >= 2
    at_once = choose(fewer(), WIDE, SMALL, lambda _: False)
    assert at_once.counts()[Standing.NOT_SEEN] == len(at_once.designs)
    assert at_once.best == ()


# --- Bounds --------------------------------------------------------------------------------------


def random_motors(count: int) -> tuple[Hardware, np.ndarray]:
    """Grains, throats, laws and limits far and wide, one design each."""
    rng = np.random.default_rng(5)
    laws = ("sorbitol", "dextrose", "sucrose")
    limits = rng.uniform(0.6e6, 12e6, count)
    one = example_hardware(drills=())
    return one, np.column_stack([limits, rng.integers(0, len(laws), count), rng.random((count, 5))])


@pytest.mark.promise("A search never screens a motor out that could pass", figure="400 motors at random, each marched")
def test_the_screen_never_drops_what_stays_below_the_limit() -> None:
    """400 motors at random: each that the bound drops passes its limit when marched. Conservation of mass."""
    one, drawn = random_motors(400)
    laws = [of_law(name) for name in ("sorbitol", "dextrose", "sucrose")]
    motors, limits, base = [], [], designs_of(one).motor(0)
    for limit, law, a, b, c, d, e in drawn:
        core = 0.008 + 0.016 * a
        grains = tuple(
            Grain(core + 0.006 + 0.03 * b, core, 0.03 + 0.1 * c * (k + 1) / 2, 1.0, burns_outer=e > 0.9)
            for k in range(1 + int(3 * d))
        )
        grains = tuple(replace(g, mass=1700 * g.volume) for g in grains)
        widest, long = max(g.outer_d for g in grains), sum(g.length for g in grains)
        motor = replace(
            base,
            grains=grains,
            propellant=laws[int(law)].propellant(laws[0].states[0]),
            throat_d=core * (0.3 + 0.6 * e),
            exit_d=core * 3,
            case_inner_d=widest * 1.05,
            chamber_length=long * 1.1,
            throat_growth=core * 0.1 * (e - 0.3),
        )
        motors.append(motor)
        limits.append(limit)
    arrays = motor_arrays(motors)
    dropped, up = surely_over(arrays, np.array(limits)), np.flatnonzero(come_up(arrays))
    peaks = np.zeros(len(motors))  # of those that do not come up: nothing may have dropped them for their pressure
    peaks[up] = simulate_many(arrays.rows(up)).peak_pressure
    over = peaks > np.array(limits)
    assert not (dropped & ~over).any()
    assert 0.5 * over.sum() < dropped.sum() < over.sum()  # and it is worth having


def test_the_bound_on_the_rail_never_drops_what_leaves_it_fast_enough() -> None:
    """Newton's second law: a heavy rocket is dropped without a march, and none of those is fast enough when marched."""
    designs = designs_of(hardware())
    heavy = replace(WIDE, rocket=replace(ROCKET, dry_mass=40.0))
    rows = np.arange(len(designs), dtype=np.int32)
    with_rail, without = screen(designs, rows, heavy), screen(designs, rows)
    dropped = rows[(with_rail & Fault.RAIL > 0) & (without == 0)]
    assert dropped.size > 20
    found = Expected.nothing(len(designs))
    for _ in look_at_all(designs, replace(heavy, least_speed=0.1), found):
        pass
    over = found.peak_pressure > designs.tables.limit[designs.case]
    assert not ((found.rail_exit_speed[dropped] >= 13.0) & ~over[dropped]).any()


def test_pressure_falls_as_the_throat_widens_and_rises_with_every_grain() -> None:
    """Steady burning with every n below 1; a wider throat also leaves less of the first estimate of the 95 % mark."""
    found, d = as_expected().expected, as_expected().designs
    marched = found.peak_pressure > 1.01 * hardware().day.igniter_pressure  # below it the igniter made the peak
    compared = 0
    for stack, formula, nozzle in {tuple(row) for row in np.stack([d.stack, d.formula, d.nozzle]).T[marched].tolist()}:
        same = np.flatnonzero(
            (d.stack == stack) & (d.formula == formula) & (d.nozzle == nozzle) & (d.case == 0) & marched
        )
        by_throat = same[np.argsort(d.throat_d[same])]
        assert (np.diff(found.peak_pressure[by_throat]) < 0).all()
        assert (np.diff(found.high_pressure[by_throat]) < 0).all()
        compared += max(len(same) - 1, 0)
        for i in same:
            parts = d.stacks[stack].parts
            if len(parts) == 1 and parts[0][1] > 1:
                fewer = [k for k, other in enumerate(d.stacks) if other.parts == ((parts[0][0], parts[0][1] - 1),)]
                one_less = np.flatnonzero(
                    (d.stack == fewer[0])
                    & (d.formula == formula)
                    & (d.nozzle == nozzle)
                    & (d.case == 0)
                    & (d.throat_d == d.throat_d[i])
                    & marched
                )
                assert (found.peak_pressure[one_less] < found.peak_pressure[i]).all()
    assert compared > 30


def test_the_first_estimate_of_the_pressure_mark_is_near_the_drawn_one() -> None:
    """It decides what is ranged first and nothing else; within a tenth of the mark of 128 drawn motors here."""
    found = choose(hardware(), None, replace(SMALL, samples=128, most_ranged=12))
    ratio = [found.expected.high_pressure[i] / one.range.peak_pressure.high for i, one in found.ranged.items()]
    assert ratio == pytest.approx([1.0] * len(ratio), abs=0.1)


# --- Reasons and changes -------------------------------------------------------------------------


def changed(kind: str, found: Choices, count: int = 3) -> list[tuple[int, float]]:
    """Designs refused for one reason alone as expected, with the number of the change that is told."""
    fault = {"over the case": Fault.OVER, "slow off the rail": Fault.RAIL, "above the ceiling": Fault.CEILING}[kind]
    rows = np.flatnonzero((found.expected.faults == int(fault)) & np.isfinite(found.expected.peak_pressure))
    told = []
    for i in rows:
        (one,) = refusals(found, int(i))
        assert one.kind == kind
        if one.change is not None and one.change.amounts:
            told.append((int(i), next(iter(one.change.amounts.values())).value))
    assert len(told) >= count, kind
    return told[:: max(1, len(told) // 8)]


def test_a_throat_wider_by_what_is_told_lifts_the_refusal() -> None:
    """Marched anew with the throat that is told."""
    found = choose(hardware(), None, replace(SMALL, most_ranged=0))
    for index, wider in changed("over the case", found):
        motor = found.designs.motor(index)
        limit = found.designs.hardware.cases[found.designs.case[index]].limit
        assert simulate(motor).peak_pressure > limit
        drawn = replace(motor, throat_d=motor.throat_d + wider, exit_d=max(motor.exit_d, motor.throat_d + wider + 1e-3))
        assert predict_range(drawn, spread_of(found.designs, index), 128).peak_pressure.high < 1.05 * limit


def test_a_rocket_lighter_or_a_rail_longer_by_what_is_told_lifts_the_refusal() -> None:
    slow = replace(WIDE, rocket=replace(ROCKET, dry_mass=5.0), largest_angle=0.9, ceiling=None)
    found = choose(hardware(), slow, replace(SMALL, most_ranged=0))
    for index, lighter in changed("slow off the rail", found):
        (one,) = refusals(found, index)
        assert one.change is not None
        longer = one.change.amounts["longer"].value if "longer" in one.change.amounts else None
        assert longer is None or longer >= 0.1, "what is told is no nought"
        run = simulate(found.designs.motor(index))
        push = Push(run.time[run.rising], run.thrust[run.rising], run.propellant_mass)
        dry = 5.0 + found.designs.hardware.cases[found.designs.case[index]].empty_mass
        as_it_is, less, longer_rail = (
            fly(push, replace(ROCKET, dry_mass=mass), replace(PAD, rail_length=rail)).rail_exit_speed
            for mass, rail in ((dry, 2.2), (dry - lighter, 2.2), (dry, 2.2 + (longer or 0.0)))
        )
        assert as_it_is < 13.0
        assert less == pytest.approx(13.0, rel=0.05)
        assert longer is None or longer_rail == pytest.approx(13.0, rel=0.05)


def test_ballast_by_what_is_told_keeps_a_flight_below_the_ceiling() -> None:
    low = replace(WIDE, ceiling=420.0, largest_angle=0.9, edges=None)
    found = choose(hardware(), low, replace(SMALL, most_ranged=0))
    for index, heavier in changed("above the ceiling", found):
        run = simulate(found.designs.motor(index))
        push = Push(run.time[run.rising], run.thrust[run.rising], run.propellant_mass)
        dry = 2.0 + found.designs.hardware.cases[found.designs.case[index]].empty_mass
        assert fly(push, replace(ROCKET, dry_mass=dry), PAD).apogee > 420.0
        assert 0.88 * 420.0 < fly(push, replace(ROCKET, dry_mass=dry + heavier), PAD).apogee < 1.02 * 420.0


def test_each_reason_is_told_in_words_with_its_nearest_change() -> None:
    """One search in which everything is asked: what each rule says, by its kind."""
    strict = replace(
        WIDE,
        ceiling=900.0,
        edges=(150.0, 120.0),
        nearest_edge=65.0,
        distances={"H": 61.0, "I": 61.0, "J": 91.0},
        delays=(4.0, 9.0),
        pad=replace(PAD, wind=4.0),
    )
    found = choose(hardware(), strict, replace(SMALL, most_ranged=12))
    told: dict[str, list[str]] = {}
    for i in range(len(found.designs)):
        assert (found.standing(i) in (Standing.POSSIBLE, Standing.NOT_RANGED)) is (refusals(found, i) == ())
        for one in refusals(found, i):
            told.setdefault(one.kind, []).append(f"{one.words} → {one.change}")
    for kind, words in {
        "narrow port": "wider core",
        "over the case": "wider throat",
        "slow off the rail": "lighter, or a rail",
        "wind at the rail": "less wind",
        "above the ceiling": "heavier",
        "lands outside": "less wind, or the main parachute lower",
        "no such delay": "a delay of",
        "persons too near": "less impulse",
        "too slender": "grain fewer",
        "stays low": "narrower throat",
    }.items():
        assert any(words in one for one in told.get(kind, [])), (kind, told.get(kind, [])[:2])


def test_where_no_single_change_is_enough_those_that_are_together_are_told() -> None:
    """Too much wind and no delay that fits: both are told with how much, and the whole search finds motors with them.
    Where nothing that is tried helps, that is said.
    """
    quick = Effort(wanted=1, samples=16, flights=16)
    windy = replace(WIDE, pad=replace(PAD, wind=9.0), delays=(1.0, 30.0), edges=(2000.0, 2000.0))
    found = choose(fewer(), windy, quick)
    why = why_not(found)
    assert why is not None
    assert "No single change is enough for it. It would take" in why.words
    told = {amount.kind: amount.value for amount in why.amounts.values()}
    calm = replace(windy, pad=replace(PAD, wind=9.0 - told["speed"]))
    assert choose(fewer(), calm, quick).best == ()
    assert choose(fewer(), replace(windy, delays=(told["time"],)), quick).best == ()
    assert choose(fewer(), replace(calm, delays=(told["time"],)), quick).best
    near = why_not(choose(fewer(), replace(WIDE, nearest_edge=1.0, distances=dict.fromkeys("ABCDEFGHIJ", 61.0)), quick))
    assert near is not None
    assert "none became possible" in near.words


def test_a_rocket_far_too_heavy_or_too_light_is_told_as_such() -> None:
    """A ton does not leave its rail; a gram is pushed harder than anything stands, and is not called slow."""
    heavy = choose(fewer(), replace(WIDE, rocket=replace(ROCKET, dry_mass=1000.0)), replace(SMALL, most_ranged=0))
    light = Launch(replace(ROCKET, dry_mass=1e-3), PAD)
    bare = replace(fewer(), cases=(replace(fewer().cases[0], empty_mass=0.0),))
    told = {one.words.words for i in range(0, len(heavy.designs), 5) for one in refusals(heavy, i)}
    assert any("leave the rail" in words for words in told)
    pushed = choose(bare, light, replace(SMALL, most_ranged=0))
    kinds = {one.kind for i in range(len(pushed.designs)) for one in refusals(pushed, i)}
    assert "slow off the rail" not in kinds
    assert "not computed" in kinds


# --- The field -----------------------------------------------------------------------------------


def test_a_fields_edges_along_the_wind() -> None:
    """Plane geometry: a rectangle of 400 by 200 m, pad off its middle, wind at 30° to its long side."""
    outline = [(-100.0, -80.0), (300.0, -80.0), (300.0, 120.0), (-100.0, 120.0)]
    against, along = edges_along(outline, radians(60))  # to the east by north
    assert along == pytest.approx(min(300 / np.cos(radians(30)), 120 / np.sin(radians(30))))
    assert against == pytest.approx(min(100 / np.cos(radians(30)), 80 / np.sin(radians(30))))
    assert nearest_edge(outline) == 80.0
    assert edges_along(outline, None) == (80.0, 80.0)
    circle = [(200 * np.cos(t), 200 * np.sin(t)) for t in np.linspace(0, 2 * pi, 720, endpoint=False)]
    assert edges_along(circle, 1.0) == pytest.approx((200.0, 200.0), rel=1e-4)
    for odd in (outline[:2], [(10.0, 10.0), (20.0, 10.0), (15.0, 20.0)]):
        with pytest.raises(CalcError, match="outline"):
            edges_along(odd, 0.0)


def test_wind_at_the_rail_by_its_triangle() -> None:
    """An upright rail: the gust meets the rocket at atan(w/v), so 20° need v of w/tan 20°."""
    upright = replace(WIDE, pad=replace(PAD, tilt=0.0, wind_height=2.2))
    found = choose(hardware(), upright, replace(SMALL, most_ranged=0))
    e = found.expected
    flown = np.isfinite(e.rail_exit_speed) & (e.rail_exit_speed > 0)
    assert e.gust_angle[flown] == pytest.approx(np.arctan(4.5 / e.rail_exit_speed[flown]))
    windy = flown & (e.faults & Fault.WIND > 0)
    assert windy.any()
    assert (e.rail_exit_speed[windy] < 4.5 / np.tan(radians(20))).all()
