"""What is drawn at the bench is well formed, says its numbers in words, and draws what it was handed."""

import re
from dataclasses import replace
from xml.etree import ElementTree

import pytest
from markupsafe import Markup

from app.drawings.bowls import Bowl, OtherBowl, bowl
from app.drawings.evening_line import Act, Row, evening_line
from app.drawings.marks import Kind
from app.drawings.pan_strip import Event, Pan, pan_strip
from app.drawings.time_axis import time_axis
from tests.drawings.plans import PLANS
from tests.drawings.scenes import SCENES, moment, pan, sorbitol

ALL = {**SCENES, **PLANS}


def parse(drawing: Markup) -> ElementTree.Element:
    return ElementTree.fromstring(str(drawing))


def described(drawing: Markup) -> str:
    found = {desc.text for desc in parse(drawing).iter("desc")}
    assert len(found) == 1, "every form of a drawing says the same"
    return found.pop() or ""


@pytest.mark.parametrize("name", ALL)
def test_a_drawing_is_well_formed_named_and_told_in_words(name: str) -> None:
    root = parse(ALL[name])
    drawings = root.findall("svg")
    assert drawings
    for svg in drawings:
        assert svg.attrib["role"] == "img"
        assert "viewBox" not in svg.attrib, "its letters would shrink with it"
        assert (svg.findtext("title") or "").strip()
        assert (svg.findtext("desc") or "").strip().endswith(".")
    assert not [e for e in root.iter() if "style" in e.attrib or e.tag == "style"]


@pytest.mark.parametrize("name", ALL)
def test_what_a_drawing_refers_to_stands_in_it_once(name: str) -> None:
    text = str(ALL[name])
    used, made = set(re.findall(r"url\(#([\w-]+)\)", text)), re.findall(r' id="([\w-]+)"', text)
    assert used == set(made)
    assert len(made) == len(set(made))


# --- Time line -----------------------------------------------------------------------------------


def test_the_time_line_tells_what_is_done_due_and_to_come_at_its_clock_times() -> None:
    words = described(SCENES["evening: two sets"])
    assert words.startswith("It is 19:52.")
    assert (
        "P set 1: done: pour 19:14, core 19:17, compact 19:32, compact 19:42; now: compact 19:52; next: pull" in words
    )
    assert "P set 2: next: pour ≈19:56" in words
    assert "≈ is an estimate." in words


def test_what_is_due_but_late_is_told_so() -> None:
    row = Row("Set 1", [[Act("compact", moment(19, 40), "now")]])
    assert "now: compact 19:40, 12 min late" in described(evening_line([row], moment(19, 52)))


def test_an_evening_that_is_over_has_no_now() -> None:
    drawn = SCENES["evening: over"]
    assert described(drawn) == "Pan: done: melt 18:40, pour 19:14. Grains: done: pour 19:14, bag 01:20."
    assert "now-line" not in drawn
    assert described(SCENES["pan: over"]).startswith("114 °C last at 19:50. Before: 60 °C at 15:00,")


def test_done_now_and_next_differ_by_their_shape_in_every_form() -> None:
    for form in parse(SCENES["evening: two sets"]).findall("svg"):
        marks = [path.attrib["class"] for path in form.iter("path")]
        assert "mark done" in marks
        assert {"mark now", "ring"} <= set(marks)
        assert "mark next estimate" in marks


def test_bagging_hours_later_stands_behind_a_break() -> None:
    acts = [Act("pour", moment(19, 0), "done"), Act("pull", moment(20, 30), "next")]
    for bag, strokes in ((moment(20, 50), 0), (moment(21, 30), 2), (moment(1, 30), 2)):
        drawn = evening_line([Row("Set 1", [[*acts, Act("bag", bag, "next")]])], moment(19, 0))
        form = parse(drawn).findall("svg")[0]
        assert sum(e.attrib.get("class") == "axis" and "em" in e.attrib["x1"] for e in form.iter("line")) == strokes


def test_an_axis_is_broken_where_nothing_happens_for_hours() -> None:
    moments = [moment(19, 0), moment(20, 0), moment(23, 0), moment(23, 30)]
    axis = time_axis(moments, [], 0.0, 1.0, 0.1, 0.0)
    assert len(axis.breaks) == 1
    assert axis.at(moments[1]) < axis.breaks[0] < axis.at(moments[2])
    widths = [stretch.end - stretch.start - 0.2 for stretch in axis.stretches]
    assert widths[0] == pytest.approx(2 * widths[1])


def test_sets_that_only_wait_for_their_bags_share_a_row_when_there_are_many() -> None:
    def row(number: int, left: Kind) -> Row:
        acts = [
            Act("pour", moment(19, number), "done"),
            Act("pull", moment(20, 30), "done" if left == "bag" else "next"),
        ]
        return Row(f"Set {number}", [[*acts, Act("bag", moment(1, number), "next")]])

    rows = [Row("Pan", [[]], pan=True), *(row(n, "bag") for n in range(1, 5)), *(row(n, "pull") for n in (5, 6, 7))]
    drawn = evening_line(rows, moment(20, 31))
    names = [e.text for e in parse(drawn).findall("svg")[0].iter("text") if e.attrib["class"] == "name"]
    assert names == ["Pan", "4 to bag", "Set 5", "Set 6", "Set 7"]
    assert all(f"Set {number}: " in described(drawn) for number in range(1, 8))


# --- Pan -----------------------------------------------------------------------------------------


def test_the_strip_tells_readings_band_limit_and_what_stands_on_the_curve() -> None:
    words = described(SCENES["pan: many"])
    assert words.startswith("114 °C at 19:50, 2 min ago. Before: 60 °C at 19:10, 92 °C at 19:20")
    assert "Band of this step: 104 °C to 121 °C. Limit: 121 °C." in words
    assert "On it: oxidiser 19:25, oxidiser 19:33, note 19:40, pour 19:46." in words
    assert "Above the limit" not in words


def test_a_pan_above_the_limit_is_said_in_words_and_by_a_shape() -> None:
    assert "Above the limit." in described(SCENES["pan: too hot"])
    for form in parse(SCENES["pan: too hot"]).findall("svg"):
        assert any(re.search("above the limit|too hot", text.text or "") for text in form.iter("text"))
        assert any("hot" in path.attrib["class"] for path in form.iter("path"))


def test_too_hot_is_written_even_where_the_reading_is_not() -> None:
    def written(one: Pan) -> str:
        return " ".join(e.text or "" for e in parse(pan_strip(replace(one, headed=False))).iter("text"))

    assert "above the limit" in written(pan((19, 50, 126)))
    assert "114" not in written(pan((19, 50, 114)))


def test_a_reading_at_the_limit_is_not_above_it() -> None:
    assert not pan((19, 50, 121)).too_hot


def test_a_reading_older_than_it_may_be_is_drawn_hollow_and_asked_for_again() -> None:
    assert not pan((19, 37, 114)).old
    assert pan((19, 36, 114)).old
    drawn = SCENES["pan: old"]
    assert "32 min ago; read it again" in described(drawn)
    assert 'class="reading last old"' in drawn


def test_steps_stand_on_the_trace_where_it_leaves_the_strip() -> None:
    """Two readings and a step halfway: its mark is halfway between theirs, whatever part of the curve is drawn."""
    drawn = pan_strip(pan((19, 20, 20), (19, 50, 114), events=[Event("add", moment(19, 35))]))
    for form in parse(drawn).findall("svg"):
        marks = {path.attrib["class"]: (x, y) for x, y, path in placed(form)}
        (x1, y1), (x2, y2) = marks["reading"], marks["reading last"]
        assert marks["mark done"] == pytest.approx(((x1 + x2) / 2, (y1 + y2) / 2), abs=0.02)


def placed(form: ElementTree.Element) -> list[tuple[float, float, ElementTree.Element]]:
    """The marks of a form with their places: along in per cent, down in em."""
    return [
        (float(svg.attrib["x"].removesuffix("%")), float(svg.attrib["y"].removesuffix("em")), path)
        for svg in form.findall("svg")
        for path in svg.findall("svg/path")
    ]


def test_what_was_read_hours_ago_is_off_the_strip_but_the_newest_reading_never_is() -> None:
    words = described(pan_strip(pan((17, 0, 60), (18, 0, 80), (19, 50, 114))))
    assert "60 °C" not in words
    assert "Before: 80 °C at 18:00." in words
    assert described(pan_strip(pan((16, 0, 60)))).startswith("60 °C at 16:00, 3 h ago; read it again.")


# --- Bowl ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("reading_kg", "state"), [(None, "open"), (0.2018, "under"), (0.2019, "good"), (0.2029, "good"), (0.203, "over")]
)
def test_a_bowl_stands_to_its_line_as_the_scale_to_the_target(reading_kg: float | None, state: str) -> None:
    assert sorbitol(reading_kg).state == state


def test_a_bowl_fills_in_proportion_up_to_its_rim() -> None:
    half, whole = sorbitol(0.1012), sorbitol(0.2024)
    assert half.filling == pytest.approx(whole.filling / 2)
    assert sorbitol(5.0).filling == 1.0


def test_words_of_the_book_are_escaped() -> None:
    nasty = '<b>&"x'
    drawn = bowl(Bowl(nasty, 0.1, 0.001), [OtherBowl(nasty, nasty, False)])
    drawn += evening_line([Row(nasty, [[Act("other", moment(19, 0), "next", label=nasty)]])], moment(19, 0))
    assert "<b>" not in drawn
    assert nasty in described(bowl(Bowl(nasty, 0.1, 0.001)))


# --- Tube ----------------------------------------------------------------------------------------


def widths(drawn: Markup, css: str) -> list[float]:
    found = [e for e in parse(drawn).iter("rect") if css in e.attrib["class"].split()]
    return [float(e.attrib["width"].removesuffix("em")) for e in found]


def test_the_section_of_a_tube_is_to_scale() -> None:
    drawn = SCENES["tube: compact"]
    (rod,), melt = widths(drawn, "rod"), widths(drawn, "melt")
    assert len(melt) == 2
    assert rod / (rod + sum(melt)) == pytest.approx(0.019 / 0.0445, rel=0.002)


def test_the_hand_presses_pulls_or_pours() -> None:
    for act, arrows in (("pour", 1), ("core", 1), ("compact", 2), ("pull", 1)):
        assert str(SCENES[f"tube: {act}"]).count('class="hand"') == arrows
