"""How a person moves through the pages: by labels, by the words on buttons and links."""

import re
import time

from playwright.sync_api import Locator, Page, expect


def fill(where: Page | Locator, **texts: str) -> None:
    """Type into fields by the beginning of their label: `fill(page, mass_received='10 kg')`."""
    for name, text in texts.items():
        field = labelled(where, name)
        if field.evaluate("element => element.tagName") == "SELECT":
            choose(field, text)
        else:
            field.fill(text)


def choose(field: Locator, text: str) -> None:
    """Choose the first entry of a list that begins with these words."""
    entries = field.locator("option").all_inner_texts()
    found = next((entry for entry in entries if entry.strip().startswith(text)), None)
    assert found is not None, f"no entry “{text}” among {entries}"
    field.select_option(label=found)


def labelled(where: Page | Locator, name: str) -> Locator:
    """The field whose label begins with these words (underscores are blanks)."""
    words = re.escape(name.replace("_", " ").strip())
    found = where.get_by_label(re.compile(rf"^\s*{words.replace(chr(92) + ' ', '.')}", re.IGNORECASE))
    return found.and_(where.locator("input, select, textarea"))


def press(where: Page | Locator, words: str) -> None:
    """Press the button with these words."""
    where.get_by_role("button", name=words, exact=True).click()


def follow(page: Page, words: str) -> None:
    """Follow the link with these words, and wait until the page that it leads to is whole."""
    with page.expect_event("load"):
        page.get_by_role("link", name=words).click()


def until(page: Page, true: str) -> None:
    """Wait until this is true in the page. Asked from outside: its rules let nothing in it work out a text again."""
    end = time.monotonic() + 15
    while not page.evaluate(true):
        assert time.monotonic() < end, f"never true: {true}"
        page.wait_for_timeout(20)


def loaded(page: Page) -> None:
    """Wait until the page is whole: between two documents, and in half of one, there is nothing to measure."""
    until(page, "document.readyState === 'complete'")


def saved(page: Page, words: str) -> None:
    """The save was told in the notice."""
    expect(page.get_by_role("status").filter(has_text=words).first).to_be_visible()


def refused(page: Page, words: str) -> None:
    """The save was refused, with these words somewhere in what is said."""
    expect(page.get_by_role("alert").first).to_contain_text(words)
