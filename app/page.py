"""Pages declared: what each template is handed, by name and type.

A page is a class that names its template and what the template reads, each with its type; a router makes one and gives
it to `web.render`. So a type checker sees what a page is made of, and `tests/test_declared_pages.py` that the
template reads just that.
"""

from collections.abc import Iterator, Sequence
from functools import cache
from inspect import get_annotations
from typing import Any, ClassVar, dataclass_transform


@dataclass_transform(kw_only_default=True, frozen_default=True, eq_default=False)
class Page:
    """What one template is handed: `class PlanPage(Page, template="cast/plan.html", section="plan"): batch: Batch`.

    It is made with all of its fields by name. Not a dataclass: making seventy of these would be a tenth of
    the start.
    """

    template: ClassVar[str] = ""
    section: ClassVar[str] = ""
    """The part of the day it belongs to; a page of none has ""."""
    tabs: ClassVar[Sequence[tuple[int, str, str]]] = ()
    """Where it stands among the tabs of its section: place, address and words; none for a page of one row."""
    group: ClassVar[str] = ""
    """Under which word the tabs of a section of many stand together; "" for one that stands by itself."""

    def __init_subclass__(
        cls,
        *,
        template: str = "",
        section: str | None = None,
        tabs: Sequence[tuple[int, str, str]] = (),
        group: str = "",
    ) -> None:
        """Name the template; a class without one is what several pages share."""
        super().__init_subclass__()
        cls.template, cls.tabs, cls.group = template, tabs, group
        if section is not None:
            cls.section = section

    def __init__(self, **given: Any) -> None:
        if given.keys() != self.declared():
            raise TypeError(f"{type(self).__name__}: {sorted(given.keys() ^ self.declared())} is missing or too much")
        self.__dict__.update(given)

    @classmethod
    @cache
    def declared(cls) -> frozenset[str]:
        """The names of what its template is handed."""
        annotated = {name for base in cls.__mro__ for name in get_annotations(base)}
        return frozenset(annotated - {"template", "section", "tabs", "group"})


def every(page: type[Page] = Page) -> Iterator[type[Page]]:
    """Every page there is."""
    for kind in page.__subclasses__():
        yield kind
        yield from every(kind)


@cache
def tabs_of(section: str) -> list[tuple[str, str]]:
    """The pages of a section that its tabs lead to, each with its address and its words, in order."""
    found = sorted(tab for page in every() if page.section == section for tab in page.tabs)
    return [(address, words) for _, address, words in found]


@cache
def groups_of(section: str) -> list[tuple[str, list[tuple[str, str]]]]:
    """The tabs of a section in their groups, in order: the word of each with its pages; one by itself is its own."""
    found: dict[str, list[tuple[str, str]]] = {}
    for (_, address, words), group in sorted(
        (tab, page.group) for page in every() if page.section == section for tab in page.tabs
    ):
        found.setdefault(group or words, []).append((address, words))
    return list(found.items())
