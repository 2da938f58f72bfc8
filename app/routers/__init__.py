"""Pages and forms: HTTP only. One router for each part of the day."""

from app.routers import (
    api,
    cast,
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
    places,
    plan,
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
        review,
        workshop,
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
