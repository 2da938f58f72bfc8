"""The chain of the book drawn: every box leads to its page, and lines run from box to box."""

from xml.etree import ElementTree

import pytest

from app.drawings.chain import FORMS, Box, Stage, chain

STAGES = [
    Stage(
        "Bags", [Box("Pail <1>", "Sorbitol", "/workshop/supplies/1"), Box("Sack", "Nitrate", "/workshop/supplies/2")]
    ),
    Stage("Batch", [Box("2611P", "Marram", "", here=True)]),
    Stage("Grains", [Box("2611P-01…04", "4 grains", "/find?q=2611P&of=grain")], more=3),
    Stage("Motor", []),
]
LINKS = [(0, 0, 0), (0, 1, 0), (1, 0, 0)]


@pytest.mark.parametrize("form", FORMS)
def test_each_form_has_all_boxes_and_only_that_of_the_page_leads_nowhere(form: str) -> None:
    svg = ElementTree.fromstring(str(chain(STAGES, LINKS, "Its way"))).find(f"svg[@class='form {form}']")
    assert svg is not None
    assert svg.get("role") == "group", "of an image nobody would hear the links"
    assert svg.findtext("title") == "Its way"
    assert svg.findtext("desc") == "Bags: Pail <1>, Sack. Batch: 2611P. Grains: 2611P-01…04, 3 more. Motor: none yet."
    assert [a.get("href") for a in svg.findall("a")] == [
        box.href for stage in STAGES for box in stage.boxes if not box.here
    ]
    assert len(svg.findall(".//rect[@class='here']")) == 1
    assert len(svg.findall(".//rect[@class='station']")) == 3


def test_beside_each_other_a_line_ends_at_the_boxes_it_joins() -> None:
    svg = ElementTree.fromstring(str(chain(STAGES, LINKS, "Its way"))).find("svg[@class='form beside']")
    assert svg is not None
    boxes = []
    for rect in svg.iter("rect"):
        x, y, wide, high = (float(str(rect.get(name)).rstrip("%em")) for name in ("x", "y", "width", "height"))
        boxes.append((x, x + wide, y, y + high))
    bag, other, batch, grains = boxes
    lines = [[float(str(one.get(name)).rstrip("%em")) for name in ("x1", "y1", "x2", "y2")] for one in svg.iter("line")]
    for (x1, y1, x2, y2), start, end in zip(lines, (bag, other, batch), (batch, batch, grains), strict=True):
        assert x1 == pytest.approx(start[1], abs=0.02)
        assert x2 == pytest.approx(end[0], abs=0.02)
        assert start[2] < y1 < start[3]
        assert end[2] < y2 < end[3]
    assert all(a[1] < b[0] or a[3] < b[2] for a, b in ((bag, other), (other, batch), (batch, grains)))
    assert max(box[1] for box in boxes) <= 100
