"""The parts that pages are made of (`_parts.html`, `_term.html`): what each draws, whoever calls it."""

import re

import pytest
from jinja2 import UndefinedError

from app.templating import templates
from app.terms import TERMS


def drawn(text: str) -> str:
    source = '{% import "_parts.html" as parts %}{% from "_term.html" import term with context %}' + text
    return re.sub(r"\s+", " ", templates.from_string(source).render(explained=set()))


def test_an_answer_has_its_button_on_its_line_and_its_picture_below() -> None:
    page = drawn(
        "{% call parts.answer('It will do.', picture='P', title='M1', lead='ready') %}<button>Go</button>{% endcall %}"
    )
    line = page[page.index('<div class="answer-line">') : page.index('<div class="answer-picture">')]
    assert "It will do." in line
    assert "<button>Go</button>" in line
    assert page.count("<h1>M1</h1>") == 1


def test_the_words_of_an_answer_may_be_the_heading_itself() -> None:
    assert '<h1 class="answer-words">Weigh the four.</h1>' in drawn("{{ parts.answer('Weigh the four.', head=true) }}")
    assert "<h1" not in drawn("{{ parts.answer('Weigh the four.') }}")


def test_a_caution_with_a_line_folds_the_rest_and_never_the_line() -> None:
    page = drawn("{% call parts.caution('Before it is fired', 'From cover.') %}<p>All of it</p>{% endcall %}")
    summary = page[page.index("<summary>") : page.index("</summary>")]
    assert "Before it is fired" in summary
    assert "From cover." in summary
    assert "All of it" not in summary
    assert page.index("All of it") < page.index("</details>")


def test_a_caution_without_a_line_stands_open() -> None:
    page = drawn("{% call parts.caution('Keeping grains') %}<p>Dry</p>{% endcall %}")
    assert "<details" not in page
    assert "<p>Dry</p>" in page
    assert "Hot." in drawn("{{ parts.caution('Take care', 'Hot.') }}")


def test_a_word_brings_its_help_once_and_shows_it_from_each_place() -> None:
    page = drawn("{{ term('c*') }} and {{ term('c*', 'its c*') }}")
    assert page.count('popovertarget="term-c-star"') == 2
    assert page.count('<span popover id="term-c-star"') == 1
    assert TERMS["c*"].told[:40] in page


def test_a_word_that_nobody_explained_is_a_fault_of_the_page() -> None:
    with pytest.raises(UndefinedError, match="nonsense"):
        drawn("{{ term('nonsense') }}")


def test_numbers_of_unlike_length_stand_on_their_decimal_sign() -> None:
    page = drawn(
        "{{ '12.5' | decimal(3) }}|{{ '1 672' | decimal(3) }}|{{ '–' | decimal(3) }}|{{ '<1.25' | decimal(2) }}"
    )
    assert page == (
        '12<span class="part of-3">.5</span>|1 672<span class="part of-3"></span>|–<span class="part of-3"></span>|'
        '&lt;1<span class="part of-2">.25</span>'
    )
