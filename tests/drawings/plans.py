"""Things to scale that are drawn in the tests; all numbers are invented."""

from dataclasses import replace
from datetime import date, timedelta

from markupsafe import Markup

from app.drawings.burn_stages import BurningGrain, Stage, burn_stages
from app.drawings.field_plan import FieldPlan, Heights, Ring, field_plan
from app.drawings.grain_views import grain_views
from app.drawings.motor_cut import CutGrain, CutNozzle, MotorCut
from app.drawings.motor_section import motor_section
from app.drawings.rocket_outline import Parachute, RocketOutline, rocket_outline
from app.drawings.season_line import Happening, season_line
from app.drawings.shelf_boxes import ShelfBox, ShelfGrain, ShelfRow, shelf_boxes
from app.drawings.small_motor import small_motor
from app.drawings.wall_plan import WallCure, WallDay, WallMark, wall_plan
from tests.drawings.scenes import ASKEW, GRAIN


def cut_grain(number: int, share: float) -> CutGrain:
    """A grain of a set, in its tube."""
    return CutGrain(0.0335, 0.010, 0.055, f"25L1-{number:02}", share, f"{share * 100:.1f} %", "55.0", 0.0352)


NOZZLE = CutNozzle(0.00803, 0.019, None, "Ø 8.03", "Ø 19.0")
MOTOR = MotorCut(
    0.0353,
    0.0381,
    0.18,
    (cut_grain(4, 0.943), cut_grain(5, 0.968), cut_grain(6, 0.973)),
    NOZZLE,
    gap_m=0.002,
    outer_words="Ø 38.1",
    room_words="180.0",
    free_words="11.0",
    core_words="Ø 10.0",
    port_words="Port 1.55 × throat, below 2",
    port_doubt=True,
)
MANY = replace(
    MOTOR,
    room_m=0.69,
    grains=tuple(cut_grain(number, 0.95) for number in range(1, 13)),
    free_words="8.0",
    room_words="690.0",
    port_doubt=False,
    spacers_m=(0.006,),
)
PLANNED = replace(
    MOTOR,
    grains=(
        replace(cut_grain(1, 0.96), state="to cast"),
        replace(cut_grain(2, 0.96), state="ready"),
        replace(cut_grain(3, 0.96), state="ready"),
    ),
)
WIDE_EXIT = replace(
    MOTOR,
    grains=(replace(cut_grain(1, 0.96), core_d_m=0.02, serial="", share=None, share_words=""),),
    nozzle=CutNozzle(0.012, 0.06, 0.4, "Ø 12.00", "Ø 60.0"),
    free_words="125.0",
    port_words="",
    liner_d_m=0.0352,
)

BURNING = BurningGrain(0.0335, 0.010, 0.055)
STAGES = [
    Stage(share, 0.01175 * share, kn, f"Kn {kn}", f"{surface} cm²")
    for share, kn, surface in ((0.0, 182, 92), (0.25, 205, 104), (0.5, 220, 111), (0.75, 214, 108))
]

ROCKET = RocketOutline(
    0.066,
    1.32,
    0.0381,
    0.26,
    mass_m=0.812,
    pressure_m=0.98,
    guides_m=0.9,
    chutes=(Parachute("main", 1.2, "Ø 1200"), Parachute("drogue", 0.3, "Ø 300")),
    diameter_words="Ø 66",
    length_words="1320",
    motor_words="260",
    mass_words="812",
    pressure_words="980",
    guides_words="900",
    stability_words="Pressure lies 2.5 diameters behind mass.",
)

ALONG = tuple(371 + 160 * ((i * 37 % 64) / 32 - 1) ** 3 + (i % 7) * 9 for i in range(64))
ACROSS = tuple(110 * ((i * 23 % 64) / 32 - 1) for i in range(64))
FIELD = FieldPlan(
    "Marram pasture",
    length_m=900,
    width_m=500,
    axis_rad=1.35,
    wind_from_rad=4.71,
    wind_words="4 m/s from W",
    rings=(Ring(61, "persons 61 m"),),
    along_m=ALONG,
    size_words="900 × 500 m",
    landing_words="lands 371 m away, 159 to 656",
    outside_words="27 % land outside",
)
HEIGHTS = Heights(460, 533, 596, 900, "533 m", "460 to 596", "ceiling 900 m", (604, 610), "flew 604, 610")
OVER = replace(HEIGHTS, high_m=1020, mid_m=905, range_words="790 to 1020", words="905 m", flown_m=(), flown_words="")

GULL, PLOVER = ShelfGrain(0.0335, 0.010), ShelfGrain(0.0255, 0.008)
BOXES = [
    ShelfBox(
        "Tin 1, cellar", (ShelfRow("26K2", (GULL,) * 8, "8 ready, 62 days"), ShelfRow("26L1", (GULL,) * 17, "17 ready"))
    ),
    ShelfBox(
        "Tin 2",
        (
            ShelfRow("27A2", (replace(GULL, state="curing", cured=0.6),) * 4, "4 cure until Sun 8 Feb"),
            ShelfRow("27A3", (replace(GULL, state="to cast"),) * 6, "6 to cast, Thu 18 Feb"),
        ),
    ),
    ShelfBox(
        "A jar with a rather long name on it", (ShelfRow("26L2", (*(PLOVER,) * 12, replace(PLOVER, state="held"))),)
    ),
    ShelfBox("Empty", ()),
]

TODAY = date(2027, 2, 8)
SEASON = [
    Happening("melt", date(2027, 1, 21), "4 Gull", True, date(2027, 1, 28)),
    *(
        Happening(
            "melt", date(2027, 2, 18) + timedelta(weeks=week), "4 Gull", until=date(2027, 2, 25) + timedelta(weeks=week)
        )
        for week in (0, 1, 4, 5, 7, 8, 9)
    ),
    Happening("test", date(2027, 3, 13), "static test × 2"),
    Happening("flight", date(2027, 5, 9), "Dunlin 6, Knot 2"),
    Happening("flight", date(2027, 6, 6), "Knot 5"),
    Happening("flight", date(2027, 6, 20), "Turnstone 5"),
    Happening("limit", date(2027, 4, 30), "last melt"),
]

MONDAY = date(2027, 2, 15)
ON_WALL = {
    3: (WallMark("melt", "12 Plover 38 of Plain sorbitol v1", True), WallMark("melt", "27B1")),
    10: (WallMark("delivery", "1000.0 g Dextrose (anhydrous)"), WallMark("test", "2 tests of Marram")),
    20: (WallMark("flight", "5 Turnstone with a name of some length"),),
}
WALL = [
    [
        WallDay(
            MONDAY + timedelta(days=n),
            ON_WALL.get(n, ()),
            inside=n > 1,
            today=n == 3,
            free=n % 7 in (1, 3),
            off="Away over the holidays" if n in (12, 13) else "",
            off_begins=n == 12,
        )
        for n in range(7 * week, 7 * week + 7)
    ]
    for week in range(3)
]
WALL_CURES = [
    WallCure(MONDAY + timedelta(days=3), MONDAY + timedelta(days=9)),
    WallCure(MONDAY + timedelta(days=5), MONDAY + timedelta(days=6)),
]

PLANS: dict[str, Markup] = {
    "grain views": grain_views(GRAIN),
    "grain views: voids, askew": grain_views(replace(ASKEW, offset_words="1.0 and −2.0")),
    "grain views: slender": grain_views(
        replace(GRAIN, core_d_m=0.006, length_m=0.3, share=1.0, burning_ends=0, core_words="Ø 6", length_words="300")
    ),
    "motor": motor_section(MOTOR),
    "motor: many grains": motor_section(MANY),
    "motor: a wide exit": motor_section(WIDE_EXIT),
    "motor: empty": motor_section(replace(MOTOR, grains=(), port_words="", free_words="180.0")),
    "motor: small": small_motor(PLANNED, "Dunlin", "2 of 3 grains are on the shelf."),
    "burn": burn_stages([BURNING] * 3, STAGES, 0.002),
    "burn: to its end": burn_stages([replace(BURNING, burns_outer=True)], [*STAGES, replace(STAGES[0], depth_m=0.03)]),
    "rocket": rocket_outline(ROCKET),
    "rocket: little known": rocket_outline(RocketOutline(0.066, diameter_words="Ø 66", mass_m=0.6, mass_words="600")),
    "rocket: short and fat": rocket_outline(
        replace(ROCKET, diameter_m=0.2, mass_m=0.1, guides_m=0.11, pressure_m=0.13)
    ),
    "field": field_plan(FIELD, HEIGHTS),
    "field: scatter": field_plan(replace(FIELD, across_m=ACROSS), OVER),
    "field: round": field_plan(
        FieldPlan("Dune", radius_m=300, size_words="300 m round the pad", along_m=(120.0, 310.0))
    ),
    "field: no size": field_plan(FieldPlan("Dune", rings=(Ring(61, "persons 61 m"), Ring(91, "cars 91 m")))),
    "shelf": shelf_boxes(BOXES),
    "shelf: bare": shelf_boxes([]),
    "season": season_line(SEASON, TODAY),
    "wall": wall_plan(WALL, WALL_CURES, "Winter"),
    "season: nothing yet": season_line([], TODAY),
    "season: years": season_line(
        [Happening("flight", date(2026, 3, 1) + timedelta(days=37 * i), f"flight {i}", True) for i in range(20)], TODAY
    ),
}
