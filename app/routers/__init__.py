"""Pages and forms: HTTP only. One router for each part of the day."""

from app.routers import (
    api,
    cast,
    checklists,
    coring,
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
    shelf,
    supplies,
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
        grains,
        shelf,
        labels,
        coring,  # before the motors, whose codes would take its address
        motors,
        firings,
        review,
        workshop,
        supplies,
        formulas,
        hardware,
        places,
        help_pages,
        api,
        drafts,
    )
]
