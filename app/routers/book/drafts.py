"""Words typed in a form but not saved yet: kept on each change, so that a power cut loses one field at most."""

import json

from fastapi import Request
from fastapi.responses import Response

from app.errors import Refused
from app.routing import late_router
from app.services.book import drafts
from app.web import Typed, redirect, unsigned_writing

router = late_router("/drafts")


@router.post("")
def keep(request: Request, page: str, typed: Typed) -> Response:
    """Keep what stands in the form of a page; what comes without a form's token is of no form of ours."""
    once = next((text for name, text in typed if name == "once"), "")
    if not once:
        raise Refused("There is nothing to keep: this came without the mark that each form of Grainbook carries.")
    with unsigned_writing(request) as session:
        drafts.keep(session, page, json.dumps([pair for pair in typed if pair[0] != "once"]), once)
        session.commit()
    return Response(status_code=204)


@router.get("/discard")
def discard(request: Request, page: str, back: str) -> Response:
    """Forget what stands in the form of a page, and open it afresh; a link of another site forgets nothing."""
    if request.headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
        return redirect("/")
    with unsigned_writing(request) as session:
        drafts.discard(session, page)
        session.commit()
    inside = back.startswith("/") and not back.startswith(("//", "/\\"))  # browsers read /\ as //: another site
    return redirect(back if inside else "/")
