"""Pages of the workshop's drills."""

from app.models import Drill
from app.models.season_choice import DrillIn
from app.page import Page
from app.routers.book.crud_pages import Listed, Noun, add_pages
from app.routing import late_router
from app.services.hardware import drills

router = late_router()


class DrillsPage(
    Page, template="hardware/drills.html", section="workshop", group="Tools", tabs=[(10, "/workshop/drills", "Drills")]
):
    """The drills and reamers that a throat can be opened with."""

    listed: Listed[Drill]


DRILLS = Noun(
    "drills",
    "drill",
    Drill,
    DrillIn,
    drills.save_drill,
    drills.drills,
    list_page=lambda _session, listed: DrillsPage(listed=listed),
)

add_pages(router, DRILLS)
