"""Pages and forms: HTTP only. One router for each part of the day."""

from app.routers import (
    api,
    cast,
    changes,
    checklists,
    coring,
    curves,
    devices,
    drafts,
    firings,
    formulas,
    grains,
    hardware,
    help_pages,
    labels,
    motors,
    people,
    places,
    plan,
    results,
    review,
    runsheets,
    shelf,
    supplies,
    test_pieces,
    today,
    workshop,
)

ROUTERS = [
    module.router
    for module in (
        today,
        plan,
        checklists,
        cast,
        runsheets,
        grains,
        test_pieces,
        shelf,
        labels,
        coring,  # before the motors, whose codes would take its address
        motors,
        firings,
        curves,
        results,  # before the review, whose lots would take its addresses
        review,
        workshop,
        changes,
        people,
        devices,
        supplies,
        formulas,
        hardware,
        places,
        help_pages,
        api,
        drafts,
    )
]
