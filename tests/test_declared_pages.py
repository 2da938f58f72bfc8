"""Pages are declared: each template reads what its page declares, and nothing else is handed to one.

What a template reads is found in its source (jinja2.meta), together with all that it extends, includes and imports with
its context, put in place: nothing is drawn.
"""

import re
from collections.abc import Iterator
from dataclasses import fields
from functools import cache
from pathlib import Path

import pytest
from jinja2 import DictLoader, Environment, FunctionLoader, meta, nodes

from app import faults, frames, templating, web
from app.page import Page, every
from app.routers.book.devices import EnterPage, PairPage
from app.routers.book.people import AtBenchPage  # and with it every router, so every page

APP = Path(web.__file__).parent
GIVEN = frozenset(field.name for field in fields(frames.Frame))
WITHOUT_THE_BOOK = {web.ErrorPage, faults.TroublePage, PairPage, EnterPage}
"""Pages that `web.bare` draws: nothing of the workshop is on them."""


def declared() -> Iterator[type[Page]]:
    """Every page that names a template."""
    return (page for page in every() if page.template)


# --- What a template reads -------------------------------------------------------------------------


@cache
def reads(env: Environment, name: str) -> frozenset[str]:
    """The names that a template reads and neither it nor the environment makes.

    Jinja takes a name that is set in one branch of an `if` for one that the other branch looks for outside. So it is
    asked twice, the second time with each branch as a scope of its own; what is really read is found both times.
    """
    tree, parted = whole(env, name), whole(env, name)
    for branch in list(parted.find_all(nodes.If)):
        branch.body = [nodes.Scope(branch.body, lineno=branch.lineno)]
        branch.else_ = [nodes.Scope(branch.else_, lineno=branch.lineno)] if branch.else_ else []
    parted.set_environment(env)
    found = meta.find_undeclared_variables(tree) & meta.find_undeclared_variables(parted)
    return frozenset(found - {"self", "super"})


def whole(env: Environment, name: str) -> nodes.Template:
    """A template as one tree: the frame that it extends with its blocks in their places, and what its parts read."""
    tree = _parsed(env, name)
    body, blocks = list(tree.body), {block.name: block for block in tree.find_all(nodes.Block)}
    while (above := next(tree.find_all(nodes.Extends), None)) is not None:
        body = [node for node in body if not isinstance(node, nodes.Block)]
        tree = _parsed(env, _named(above))
        body += tree.body
        blocks = {block.name: block for block in tree.find_all(nodes.Block)} | blocks
    made = nodes.Template(body, lineno=1)
    _put_in_place(env, made, blocks)
    made.set_environment(env)
    return made


def _put_in_place(env: Environment, node: nodes.Node, blocks: dict[str, nodes.Block]) -> None:
    for key, value in node.iter_fields():
        if isinstance(value, nodes.Node):
            _put_in_place(env, value, blocks)
        elif isinstance(value, list) and any(isinstance(one, nodes.Node) for one in value):
            setattr(node, key, [new for one in value for new in _in_place(env, one, blocks)])


def _in_place(env: Environment, node: nodes.Node, blocks: dict[str, nodes.Block]) -> list[nodes.Node]:
    put: nodes.Node = node
    if isinstance(node, nodes.Extends):
        return []
    if isinstance(node, nodes.Include):
        return [_read(reads(env, _named(node)))]
    if isinstance(node, nodes.Import | nodes.FromImport):
        brought = reads(env, _named(node))
        assert node.with_context or not brought, f"{_named(node)} is imported without the context that it reads"
        names = [node.target] if isinstance(node, nodes.Import) else node.names
        made = [nodes.Name(name if isinstance(name, str) else name[1], "store") for name in names]
        return [_read(brought), *(nodes.Assign(name, nodes.Const(None), lineno=node.lineno) for name in made)]
    if isinstance(node, nodes.Block):
        put = nodes.Scope(list(blocks[node.name].body), lineno=node.lineno)
    _put_in_place(env, put, blocks)
    return [put]


def _read(names: frozenset[str]) -> nodes.Output:
    return nodes.Output([nodes.Name(name, "load") for name in sorted(names)], lineno=1)


def _named(node: nodes.Extends | nodes.Include | nodes.Import | nodes.FromImport) -> str:
    assert isinstance(node.template, nodes.Const), "a template is named by its name, so that it can be looked up"
    return str(node.template.value)


def _parsed(env: Environment, name: str) -> nodes.Template:
    assert env.loader is not None
    return env.parse(env.loader.get_source(env, name)[0])


def faults_of(page: type[Page], env: Environment) -> list[str]:
    """What is wrong between a page and its template."""
    read = reads(env, page.template)
    given = GIVEN - ({"workshop"} if page in WITHOUT_THE_BOOK else set())
    missing, unread = read - given - page.declared(), page.declared() - read
    found = [(missing, "the template reads, and the page does not declare"), (unread, "declared, and not read")]
    found += [(page.declared() & (GIVEN | env.globals.keys()), "declared, and every page has it")]
    return [f"{page.__name__}: {words}: {', '.join(sorted(names))}" for names, words in found if names]


@pytest.mark.parametrize("page", list(declared()), ids=lambda page: page.__name__)
def test_a_page_declares_what_its_template_reads_and_nothing_else(page: type[Page]) -> None:
    assert faults_of(page, templating.templates) == []


def test_what_every_page_is_handed_is_read_by_some() -> None:
    assert set().union(*(reads(templating.templates, page.template) for page in declared())) >= GIVEN


def test_every_template_has_one_page_that_declares_it() -> None:
    env = templating.templates
    pages = [page.template for page in declared()]
    assert sorted(set(pages)) == sorted(pages)
    drawn = {name for name in env.list_templates() if not name.rsplit("/")[-1].startswith("_")}
    extended = {_named(node) for name in drawn for node in _parsed(env, name).find_all(nodes.Extends)}
    assert drawn - (extended - set(pages)) == set(pages)


def test_a_template_is_drawn_in_one_place_by_what_a_page_declares() -> None:
    """What `render` and `bare` take is a `Page`, as mypy checks; nobody reaches for a template past them."""
    reach = re.compile(r"get_template|select_template|from_string|import .*\btemplates\b")
    assert [path.name for path in APP.rglob("*.py") if reach.search(path.read_text(encoding="utf-8"))] == ["frames.py"]


# --- A breach is seen ------------------------------------------------------------------------------

PARTS = {
    "part": "{{ row }}{{ other }}",
    "macros": "{% macro line(it) %}{{ it }}{{ house }}{% endmacro %}",
    "frame": "{% set made = 1 %}{{ title }}"
    "{% for row in rows %}{% block line scoped %}{{ replaced }}{% endblock %}{% endfor %}",
    "twice": "{% extends 'frame' %}{% set own = 2 %}"
    "{% block line %}{{ row }}{{ made }}{{ own }}{% block in %}{% endblock %}{% endblock %}",
}


@pytest.mark.parametrize(
    ("source", "read"),
    [
        ("{{ a }}", "a"),
        ("{{ a.b(c) | d(e) }}", "a c e"),
        ("{{ now() }}{{ loop }}", "loop"),
        ("{% set a = 1 %}{{ a }}", ""),
        ("{{ a }}{% set a = 1 %}", "a"),
        ("{% if b %}{% set a = 1 %}{{ a }}{% endif %}", "b"),
        ("{% if b %}{% set a = 1 %}{% endif %}{{ a }}", "a b"),
        ("{% for row in rows %}{{ loop.index }}{{ row }}{% endfor %}", "rows"),
        ("{% for row in rows %}{% include 'part' %}{% endfor %}", "rows other"),
        ("{% include 'part' %}", "row other"),
        ("{% import 'macros' as m with context %}{{ m.line(a) }}", "a house"),
        ("{% from 'macros' import line as l with context %}{{ l(1) }}{{ line }}", "house line"),
        (
            "{% macro m(it) %}{{ it }}{{ far }}{{ caller() }}{% endmacro %}{% call m(1) %}{{ near }}{% endcall %}",
            "far near",
        ),
        ("{% extends 'frame' %}{% block line %}{{ row }}{{ made }}{{ a }}{% endblock %}", "title rows a"),
        ("{% extends 'frame' %}", "title rows replaced"),
        ("{% extends 'twice' %}{% block in %}{{ own }}{{ self.line() }}{{ a }}{% endblock %}", "title rows a"),
    ],
)
def test_what_a_template_reads_is_found(source: str, read: str) -> None:
    env = templating.templates.overlay(loader=DictLoader({**PARTS, "it": source}))
    assert reads(env, "it") == set(read.split())


def test_macros_that_read_their_surroundings_are_imported_with_them() -> None:
    env = templating.templates.overlay(loader=DictLoader({**PARTS, "it": "{% import 'macros' as m %}"}))
    with pytest.raises(AssertionError, match="without the context"):
        reads(env, "it")


@pytest.mark.parametrize(
    ("template", "old", "new", "fault"),
    [
        ("book/bench_person.html", "now_there", "who_is_there", "does not declare: who_is_there"),
        ("book/bench_person.html", "usual", "now_there", "not read: usual"),
        ("book/_page.html", "{{ parts", "{{ absent }}{{ parts", "does not declare: absent"),
        ("_forms.html", "{{ caller", "{{ absent }}{{ caller", "does not declare: absent"),
        ("_head.html", "{{ name }}", "{{ absent }}", "does not declare: absent"),
    ],
)
def test_a_page_that_does_not_fit_its_template_is_seen(template: str, old: str, new: str, fault: str) -> None:
    def changed(name: str) -> str:
        assert templating.templates.loader is not None
        source = templating.templates.loader.get_source(templating.templates, name)[0]
        assert name != template or old in source
        return source.replace(old, new) if name == template else source

    env = templating.templates.overlay(loader=FunctionLoader(changed))
    assert [words for words in faults_of(AtBenchPage, env) if words.endswith(fault)]


def test_a_page_is_made_with_all_that_it_declares_and_no_more() -> None:
    with pytest.raises(TypeError, match="code"):
        web.ErrorPage(message="", page="")  # type: ignore[call-arg]  # wrong on purpose: mypy sees it too
    with pytest.raises(TypeError, match="more"):
        web.ErrorPage(code=404, message="", page="", more=1)  # type: ignore[call-arg]  # wrong on purpose
