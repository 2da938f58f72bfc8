"""The words on every page of the demonstration book: which fields say that they are optional, and plain words."""

import csv
import re
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session, select

from app.book.guards import GUARDS
from app.forms import marks
from app.main import create_app
from app.models import Batch, Grain, MotorBuild
from app.settings import Settings
from app.terms import TERMS, slug
from tests import addresses
from tests.behind import browser_of, copied_with_files, engine_of
from tests.pages.test_one_system import typed_in
from tests.tree import Node, tree


@pytest.fixture(scope="module")
def client(demo_book: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    book = tmp_path_factory.mktemp("words") / "book.sqlite3"
    copied_with_files(demo_book, book)
    with browser_of(create_app(Settings(book=book))) as client:
        addresses.complete(engine_of(client))
        yield client


@pytest.fixture(scope="module")
def pages(client: TestClient) -> dict[str, Node]:
    """Every page, walked once for all that is looked at here."""
    rows = addresses.rows(engine_of(client))
    return {path: tree(client.get(path).text) for address in addresses.pages() for path in [address.format(**rows)]}


# --- Optional, or needed ----------------------------------------------------------------------


SIGNED = "/sign"
"""There a name or place is typed only instead of the button or the tick that has it."""


def _asked(field: Node, form: Node) -> bool:
    """Whether a field is shown while the form stands as it was drawn: by its class and the choice that stands."""
    for one in (field, *field.above()):
        for said in re.finditer(r"\b(when|unless)-(\w+)-([\w-]+)", one.attrs.get("class", "")):
            chosen = [
                option.attrs["value"] or "none"
                for select in form.all("select")
                if select.attrs["name"] == said[2]
                for option in select.all("option")
                if "selected" in option.attrs
            ] or ["none"]
            if (chosen[0] in said[3].split("-")) == (said[1] == "unless"):
                return False
    return True


def _without_kind(box: Node, control: Node) -> bool:
    """Whether a field is neither needed nor optional: a choice that always stands on something, of a row of a list, or
    one at arm's length, which is the page's own question and has only its label; what is folded behind it is marked.
    """
    around = [one.attrs.get("class", "").split() for one in box.above()]
    always = (
        control.tag == "select"
        and "required" not in control.attrs
        and all(o.attrs["value"] for o in control.all("option"))
    )
    return (
        always
        or "." in control.attrs["name"]
        or (any({"entry", "beside"} & set(of) for of in around) and not any("sizes" in of for of in around))
    )


def _fields(form: Node) -> list[tuple[str, Node]]:
    """The label and the control of each field that a form asks for, ticks and columns of tables left out."""
    found = []
    for box in form.all("div"):
        if not box.has("field") or not _asked(box, form):
            continue
        controls = [
            one for one in box.all("input", "select", "textarea") if one.attrs.get("type") not in ("checkbox", "radio")
        ]
        labels = [one for one in box.all("label") if not one.has("visually-hidden") and not one.has("check")]
        if len(controls) == 1 and labels and "name" in controls[0].attrs and not _without_kind(box, controls[0]):
            found.append((labels[0].text(), controls[0]))
    return found


def _marked_wrong(form: Node) -> str:
    """What is wrong with the marks of a form; "" where they stand on the fewer of the two kinds."""
    found = _fields(form)
    needed = [label for label, control in found if "required" in control.attrs]
    optional = [label for label, control in found if "required" not in control.attrs]
    head = [words for words in (marks.REST, marks.ALL) if words in form.text()]
    if not needed and form.attrs.get("method") == "get":  # a filter above a list
        right = not head and not any(label.endswith(")") for label in optional)
    elif len(optional) > len(needed) and len(found) > 1:
        right = (
            head == [marks.REST if needed else marks.ALL]
            and all(label.endswith("(needed)") for label in needed)
            and not any("(optional)" in label for label in optional)
        )
    else:
        right = (
            head == []
            and all(label.endswith("(optional)") for label in optional)
            and not any("(needed)" in label for label in needed)
        )
    return "" if right else f"{needed} {optional} {head}"


def test_optional_stands_on_the_fewer_of_the_two_kinds_of_field(pages: dict[str, Node]) -> None:
    forms = [
        (path, form)
        for path, page in pages.items()
        for form in page.all("form")
        if _fields(form) and not path.endswith(SIGNED)
    ]
    assert len({form.attrs.get("action", "") for _, form in forms}) > 50
    found = [f"{path}: {wrong}" for path, form in forms if (wrong := _marked_wrong(form))]
    assert found == []
    kinds = {"(optional)" in form.text() for _, form in forms}, {marks.REST in form.text() for _, form in forms}
    assert kinds == ({True, False}, {True, False})


def test_what_is_marked_needed_is_what_an_empty_form_is_refused_for(client: TestClient, pages: dict[str, Node]) -> None:
    """The mark and the check are asked apart: each form is sent with all of its fields empty, and saves nothing."""
    looked, wrong = set(), {}
    for path, page in pages.items():
        for form in page.all("form"):
            needed = {control.attrs["id"] for _, control in _fields(form) if "required" in control.attrs}
            action = form.attrs.get("action", "")
            if (
                not needed or action in looked or action.endswith(("#in-a-rocket", SIGNED))
            ):  # there, empty asks for nothing, or for a button
                continue
            looked.add(action)
            hidden = [one for one in form.all("input") if one.attrs.get("type") == "hidden"]
            typed = {one.attrs["name"]: one.attrs.get("value", "") for one in hidden}
            typed |= {
                c.attrs["name"]: next((o.attrs["value"] for o in c.all("option") if "selected" in o.attrs), "")
                if "required" not in c.attrs
                else ""
                for _, c in _fields(form)
            }
            if form.attrs.get("method") == "get":
                answer = client.get(urlsplit(action).path or path, params=typed)
            else:
                answer = client.post(action, data=typed, follow_redirects=False)
            shown = tree(answer.text)
            faults = {
                a.attrs["href"][1:]
                for a in shown.all("a")
                if a.attrs.get("href", "").startswith(f"#{form.attrs['id']}-")
            }
            optional = {control.attrs["id"] for _, control in _fields(form)} - needed
            if answer.status_code != 422 or needed - faults or optional & faults:
                wrong[action] = (answer.status_code, needed - faults, optional & faults)
    assert wrong == {}
    assert len(looked) > 30


# --- Plain words ------------------------------------------------------------------------------

OLD = re.compile(
    r"may stay empty|\bnot told\b"
    r"|take (?:it|them|(?:the|these|this) \w+) (?:along|away)"
    r"|\bleave it\b(?! (?:empty|marked|ticked))|(?-i:\bLeave them\b)"
    r"|^take (?!it apart|[\w-]*\d)"
    r"|\btak(?:e|en|es|ing) (?:(?:it|them|the \w+|this \w+) )?back\b"
    r"|\bkeep the (?:note|reading|mass|air|time)\b",
    re.IGNORECASE,
)
"""What stood for optional, unknown, export, cancel, undo and save before those words did."""


def test_nothing_says_in_words_of_its_own_what_the_web_has_a_word_for(pages: dict[str, Node]) -> None:
    said = [
        f"{path}: …{words[m.start() - 30 : m.end() + 30]}"
        for path, page in pages.items()
        for words in [page.text(("script", "style"))]
        for m in OLD.finditer(words)
    ]
    assert said == []
    assert {name: sql for name, sql in GUARDS.items() if OLD.search(sql)} == {}, "a guard's words are read by a person"


# --- A glossary -------------------------------------------------------------------------------

LISTS = {
    name: (Path(__file__).parents[1] / "data" / "words" / f"{name}.txt").read_text("utf-8")
    for name in ("plain", "trade", "web")
}
KNOWN = {word for text in LISTS.values() for line in text.splitlines() for word in line.partition("#")[0].split()}
KNOWN |= {
    part
    for word, one in TERMS.items()
    for words in (word, *one.also)
    for part in re.findall(r"[^\W\d_]+\*?", words.lower())
}

LABELS = ("label", "legend", "h1", "h2", "h3", "th", "button")


def _label(node: Node) -> str:
    """The words of a label, without its unit, what is typed or asked as it stands, and the help behind a word."""
    silent = ("kbd", "code", "script", "style", "select", "option", "svg")
    parts = [
        one if isinstance(one, str) else _label(one)
        for one in node.inside
        if isinstance(one, str) or not (one.tag in silent or one.has("unit") or one.has("term-told"))
    ]
    return " ".join(" ".join(parts).split())


def unknown(label: str) -> list[str]:
    """The words of a label that are of no list, and ways of saying that the web has a word for."""
    tokens = re.findall(r"[\w'’*/.°-]*\w\*?", label.lower())
    parts = [
        re.sub("['’]s?$", "", part)
        for one in tokens
        if not re.search(r"\d|/", one)
        for part in re.split(r"[.'’-]+(?!s?$)", one)
    ]
    forms = {
        word: {word, word.removesuffix("s"), word.removesuffix("es"), re.sub("ies$", "y", word)}
        for word in parts
        if word
    }
    return [*(word for word, some in forms.items() if not some & KNOWN), *(found[0] for found in OLD.finditer(label))]


def test_each_label_is_of_the_trade_of_the_web_or_of_our_words(client: TestClient, pages: dict[str, Node]) -> None:
    typed = typed_in(engine_of(client))
    labels: dict[str, str] = {}
    for path, page in pages.items():
        tabs = [a for nav in page.all("nav") if nav.has("tabs") for a in nav.all("a")]
        labels |= {_label(node): path for node in [*page.all(*LABELS), *tabs]}
    found = {words: (strange, path) for words, path in labels.items() if (strange := unknown(typed.sub("", words)))}
    assert found == {}, "use a plain word, explain it in app/terms.py, or add it to tests/data/words with its reason"
    assert len(labels) > 600


@pytest.mark.parametrize(
    "planted",
    [
        "Take along",
        "Leave it",
        "Take it back",
        "Not told",
        "May stay empty",
        "Keep the note",
        "Snarfle the melt",
        "Propellant wizard",
    ],
)
def test_a_label_that_is_no_plain_word_is_seen(planted: str) -> None:
    assert unknown(planted)


@pytest.mark.parametrize(
    "plain", ["Export", "Cancel", "Undo", "Throat diameter (optional)", "Save the grain’s mass", "c* efficiency"]
)
def test_a_label_of_plain_words_is_none(plain: str) -> None:
    assert unknown(plain) == []


def test_no_word_stands_in_two_lists() -> None:
    each = [{word for line in text.splitlines() for word in line.partition("#")[0].split()} for text in LISTS.values()]
    assert sum(map(len, each)) == len(set.union(*each))


# --- Help on the spot -------------------------------------------------------------------------

HELPED = """c*; Kn; web; condensed share; Holm; throat; erosive burning; port to throat ratio; mass flux; cure; void;
inhibited face; L/D; specific impulse; burn time; impulse class; nine in ten; Welch; Spearman; individuals chart; EWMA;
prior; bias; remelt; over-pour; liner; apogee; ejection delay; burn rate; combustion efficiency; nozzle efficiency;
proof test; yield strength"""


def test_words_that_need_it_have_help_where_they_first_stand(pages: dict[str, Node]) -> None:
    helped: set[str] = set()
    for path, page in pages.items():
        told = [one.attrs["id"] for one in page.all("span") if one.has("term-told")]
        assert len(told) == len(set(told)), path
        buttons = [one for one in page.all("button") if one.has("term")]
        assert {one.attrs["popovertarget"] for one in buttons} == set(told), path
        for one in buttons:  # a press on it presses nothing else
            assert one.attrs["type"] == "button", path
            assert not {"label", "summary", "a"} & {above.tag for above in one.above()}, (path, one.text())
        for one in (one for one in page.all("button") if one.has("ask")):
            box = next(above for above in one.above() if above.has("field"))
            assert [label.attrs["for"] for label in box.all("label")] == [
                c.attrs["id"] for c in box.all("input", "select")
            ], path
        helped |= set(told)
    assert {f"term-{slug(' '.join(word.split()))}" for word in HELPED.split(";")} - helped == set()


def test_the_page_of_words_tells_each_of_them(pages: dict[str, Node]) -> None:
    page = pages["/help/words"]
    listed = {one.attrs["id"] for listing in page.all("dl") for one in listing.all("div")}
    assert listed == {slug(word) for word in TERMS}
    assert len(listed) == len(TERMS) > 70


# --- At a pad ---------------------------------------------------------------------------------

AT_A_PAD = re.compile(r"/(?:motors|firings|compare|labels|shelf)\b.*|/cast/\w+/sheet")
INTRODUCED = re.compile(r"\b(?:motors?|lots?|grains?|batch|serials?|session|melt|labels?)\b", re.IGNORECASE)
DESIGNATED = re.compile(r"\b[A-O]\d{1,4}\b")
"""A motor named by its strength: the letter of its impulse class and its mean thrust [N] (NFPA 1125, second hand)."""

BLOCKS = {
    "p",
    "li",
    "td",
    "th",
    "h1",
    "h2",
    "h3",
    "dd",
    "dt",
    "div",
    "label",
    "summary",
    "option",
    "text",
    "figcaption",
}


def _text_before(node: Node, one: Node | str) -> str:
    """What stands in a block before one of its parts."""
    return " ".join(part if isinstance(part, str) else part.text() for part in node.inside[: node.inside.index(one)])


def _heads(node: Node) -> Iterator[str]:
    """What introduces the place that an element stands in: heads of its table, labels, legends and headings."""
    below: Node = node
    for above in node.above():
        if above.tag == "tr":
            cells = [one for one in above.inside if isinstance(one, Node)]
            table = next(one for one in above.above() if one.tag == "table")
            heads = next((list(row.all("th")) for row in table.all("tr")), [])
            at = cells.index(below)
            yield from (one.text() for one in heads[at : at + 1])
            yield from (one.text() for one in table.all("caption"))
            yield from (one.text() for one in cells[:at] if one.tag == "th")
        yield above.attrs.get("aria-label", "")
        if above.tag in {"fieldset", "section", "figure", "svg", "dl", "details", "div", "ul", "form"}:
            yield _text_before(above, below)
        if above.tag == "svg":
            yield " ".join(one.text() for one in above.all("title", "desc"))
        if above.tag == "main":
            return
        below = above


def bare(page: Node, codes: re.Pattern[str]) -> list[str]:
    """Where a code of a lot, a grain or a motor stands without its word, or beside the name of a motor's strength."""
    main = next(page.all("main"))
    found = []
    for node in main.all():
        for one in node.inside:
            if not isinstance(one, str) or node.tag in ("script", "style"):
                continue
            for code in codes.finditer(one):
                before, inside, block = _text_before(node, one) + " " + one[: code.start()], node, node
                while block.tag not in BLOCKS and block.parent is not None:
                    before = _text_before(block.parent, block) + " " + before
                    block = block.parent
                if not INTRODUCED.search(before) and not any(INTRODUCED.search(head) for head in _heads(inside)):
                    found.append(f"{block.tag}: {before[-40:]}{code[0]}")
    beside = re.compile(
        rf"(?:{codes.pattern})[\s:,;()·–-]{{0,4}}{DESIGNATED.pattern}|{DESIGNATED.pattern}[\s:,;()·–-]{{0,4}}(?:{codes.pattern})"
    )
    return found + [one[0] for one in beside.finditer(main.text())]


def test_at_a_pad_no_code_stands_bare_or_beside_a_class(client: TestClient, pages: dict[str, Node]) -> None:
    with Session(engine_of(client)) as session:
        known = [
            *session.exec(select(Batch.code)),
            *session.exec(select(Grain.serial)),
            *session.exec(select(MotorBuild.code)),
        ]
    codes = re.compile(rf"(?<![\w/-])(?:{'|'.join(map(re.escape, sorted(known, key=len, reverse=True)))})(?![\w-])")
    looked = {path: page for path, page in pages.items() if AT_A_PAD.fullmatch(path)}
    assert {path: found[:4] for path, page in looked.items() if (found := bare(page, codes))} == {}
    assert sum(len(codes.findall(page.text())) for page in looked.values()) > 300
    for name in ("lots", "grains", "firings"):
        head, *rows = csv.reader(client.get(f"/review/{name}.csv").text.lstrip("\ufeff").splitlines())
        of = {head[at] for row in rows for at, cell in enumerate(row) if codes.fullmatch(cell)}
        assert of
        assert all(INTRODUCED.search(one) for one in of), of


@pytest.mark.parametrize("code", ["26-031", "2611P", "2611PP-04"])
def test_a_code_made_now_is_no_class_and_is_seen_where_it_could_be_taken_for_one(code: str) -> None:
    assert not DESIGNATED.search(code)
    for planted in (
        f"<h1>Flight of {code}</h1>",
        f"<p>Motor {code}: H144</p>",
        f"<p>H144 · lot {code}</p><p>H144, {code}</p>",
    ):
        assert bare(tree(f"<main>{planted}</main>"), re.compile(re.escape(code))), planted
    for right in (
        f"<h1>Flight of motor {code}</h1>",
        f"<table><tr><th>Lot<th>g</tr><tr><td>{code}</td><td>1</td></tr></table>",
    ):
        assert (
            bare(tree(f"<main>{right.replace('<th>g', '</th><th>g</th>')}</main>"), re.compile(re.escape(code))) == []
        ), right
