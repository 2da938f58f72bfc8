"""Pages and forms: HTTP only. One router for each part of the day."""

from app.routers import undo
from app.routers.api import api
from app.routers.bench import bench
from app.routers.book import changes, copies, devices, drafts, find, glass, help_pages, people, workshop
from app.routers.cast import casting, checklists, editions, incidents, planning, runsheets
from app.routers.firings import altimeters, compare, curves, firing_log, firings
from app.routers.flight import flights
from app.routers.grains import from_paper, labels, looks, one_grain, shelf, test_pieces, waste, weighing
from app.routers.hardware import checks, drills, inventory, places
from app.routers.learning import coverage_page, learning
from app.routers.motors import builds, core_offset, designs
from app.routers.review import lots_review, results
from app.routers.season import motor_pages, plans, seasons, wish_pages
from app.routers.stock import buying, formulas, supplies
from app.routers.today import start, today

ROUTERS = [
    module.router
    for module in (
        today,
        start,
        planning,
        checklists,
        casting,
        bench,
        runsheets,
        from_paper,
        incidents,
        checks,
        looks,
        editions,
        weighing,
        test_pieces,
        shelf,
        waste,
        one_grain,  # after the shelf, whose pages would be taken for serials
        labels,
        find,
        core_offset,  # before the motors, whose codes would take its address
        designs,  # before the motors too
        builds,
        firings,
        firing_log,
        altimeters,
        curves,
        compare,
        undo,
        results,  # before the review, whose lots would take its addresses
        coverage_page,  # before the review, whose lots would take its addresses
        learning,  # before the review, whose lots would take its addresses
        lots_review,
        plans,
        seasons,
        wish_pages,
        motor_pages,
        workshop,
        flights,
        copies,
        changes,
        people,
        devices,
        glass,
        supplies,
        formulas,
        buying,
        drills,
        inventory,
        places,
        help_pages,
        api,
        drafts,
    )
]
