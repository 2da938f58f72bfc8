"""What the demonstration's workshop owns and buys."""

from datetime import timedelta

from app import clock
from app.demo.maker import Maker, Told
from app.models import CastingTube, CoringRod
from app.models.distance import DistancesIn
from app.models.formula import FormulaIn
from app.models.hardware import CaseIn, CastingTubeIn, CoringRodIn, GrainPatternIn, NozzleIn
from app.models.place import LaunchFieldIn, RocketIn
from app.models.supply import SupplyIn
from app.services.book import workshop
from app.services.hardware import distances, inventory, places
from app.services.stock import formulas, supplies
from app.units import parse


def own(maker: Maker, story: Told) -> None:
    """Settings, formulas, tools, motors' hardware, rockets and fields, all on the first day."""
    maker.at(max(item["days_ago"] for item in story["supply"]))
    shop = workshop.get(maker.session)
    shop.person = story["person"]
    shop.pan_capacity_kg, shop.pan_capacity_typed = parse(story["pan_capacity"], "mass")
    shop.known_melt_kg, shop.known_melt_typed = parse(story["known_melt"], "mass")
    shop.hold_limit_kg, shop.hold_limit_typed = parse(story["hold_limit"], "heavy_mass")
    shop.hold_limit_source, shop.currency = story["hold_limit_source"], "€"
    for told in story["formula"]:
        parts = [{"ingredient": name, "percent": share} for name, share in told["parts"].items()]
        formulas.save(maker.session, maker.form(FormulaIn, told, parts=parts))
    for told in story["tube"]:
        inventory.save_tube(maker.session, maker.form(CastingTubeIn, told))
    for told in story["rod"]:
        inventory.save_rod(maker.session, maker.form(CoringRodIn, told))
    for told in story["pattern"]:
        tools = {
            "casting_tube_id": maker.named(CastingTube, told["tube"]),
            "coring_rod_id": maker.named(CoringRod, told["rod"]),
        }
        inventory.save_pattern(maker.session, maker.form(GrainPatternIn, told, **tools))
    for told in story["case"]:
        proof = told.get("proof_days_ago")
        day = clock.local(maker.start).date() - timedelta(days=proof) if proof else None
        inventory.save_case(maker.session, maker.form(CaseIn, told, proof_on=day))
    for told in story["nozzle"]:
        inventory.save_nozzle(maker.session, maker.form(NozzleIn, told))
    for told in story["rocket"]:
        places.save_rocket(maker.session, maker.form(RocketIn, told))
    for told in story["field"]:
        places.save_field(maker.session, maker.form(LaunchFieldIn, told))
    distances.save(maker.session, maker.form(DistancesIn, {"lines": story["distance"]}))


def buy(maker: Maker, told: Told) -> None:
    """A bag comes in."""
    supplies.save(maker.session, maker.form(SupplyIn, told, received_on=clock.today()))
