"""A page as a tree of its elements: for tests that ask what stands inside of what."""

from collections.abc import Iterator
from html.parser import HTMLParser

VOID = {"area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source", "wbr"}


class Node:
    """An element: its tag, its attributes, and in order the texts and elements in it."""

    def __init__(self, tag: str, attrs: dict[str, str], parent: "Node | None" = None) -> None:
        self.tag, self.attrs, self.parent = tag, attrs, parent
        self.inside: list[Node | str] = []

    def has(self, css: str) -> bool:
        """Whether it is of a class."""
        return css in self.attrs.get("class", "").split()

    def all(self, *tags: str) -> "Iterator[Node]":
        """Every element within it of these tags (none: of any), in order."""
        for one in self.inside:
            if isinstance(one, Node):
                if not tags or one.tag in tags:
                    yield one
                yield from one.all(*tags)

    def above(self) -> "Iterator[Node]":
        """What it stands in, the nearest first."""
        one = self.parent
        while one is not None:
            yield one
            one = one.parent

    def text(self, without: tuple[str, ...] = ()) -> str:
        """Its words, in one line; `without` what stands in elements of some tags."""
        found = [
            one
            if isinstance(one, str)
            else f" {one.text(without)} "
            if one.tag not in {"b", "sub", "sup"}
            else one.text(without)
            for one in self.inside
            if isinstance(one, str) or one.tag not in without
        ]
        return " ".join("".join(found).split())


class _Reader(HTMLParser):
    def __init__(self, page: str) -> None:
        super().__init__()
        self.root = self.at = Node("", {})
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        node = Node(tag, {name: value or "" for name, value in attrs}, self.at)
        self.at.inside.append(node)
        if tag not in VOID:
            self.at = node

    def handle_endtag(self, tag: str) -> None:
        found = next((one for one in (self.at, *self.at.above()) if one.tag == tag), None)
        if found is not None and found.parent is not None and tag not in VOID:
            self.at = found.parent

    def handle_data(self, data: str) -> None:
        self.at.inside.append(data)


def tree(page: str) -> Node:
    """A page, read."""
    return _Reader(page).root
