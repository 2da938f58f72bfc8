"""What a form asks for, by what stands in it: fields of one choice, fields that belong together, sizes that exclude
each other.

A form says it once, as data; the page hides by it (`static/css/forms.css`), the check leaves out and demands by it, and
all of it is told in one answer.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from app.units import Quantity


@dataclass(frozen=True)
class When:
    """Fields that are asked for only while a choice stands on one of its values.

    What stands in them otherwise is neither checked nor kept, and the save says so. What came of a firing is measured
    once and never again: it is shown and refused instead.

    Attributes
    ----------
    choice : str
        The field that decides.
    values : tuple of str
        Its values that ask for the fields; "" is none chosen.
    fields : tuple of str
        What is asked for then.
    why : str
        Why all of them are needed then, as a sentence; "" where they are optional.
    unless : bool
        The fields are asked for with all values but these.
    once : bool
        What stands in them was measured once: it is never left out.
    """

    choice: str
    values: tuple[str, ...]
    fields: tuple[str, ...]
    why: str = ""
    unless: bool = False
    once: bool = False

    def holds(self, texts: Mapping[str, str]) -> bool:
        """Whether the fields are asked for by what stands in the form."""
        return (texts.get(self.choice, "").strip() in self.values) != self.unless

    @property
    def css(self) -> str:
        """The class that hides the fields on a page by the choice."""
        values = "-".join(value or "none" for value in self.values)
        return f"{'unless' if self.unless else 'when'}-{self.choice}-{values}"


def not_asked(whens: Sequence[When], texts: Mapping[str, str]) -> set[str]:
    """The fields that are not asked for by what stands in a form."""
    return {
        name
        for when in whens
        if not when.holds(texts)
        for name in when.fields
        if not (when.once and texts.get(name, "").strip())
    }


def needed(
    whens: Sequence[When], together: Sequence[tuple[str, ...]], texts: Mapping[str, str]
) -> Iterator[tuple[str, str, str]]:
    """Each empty field that what stands in a form makes needed: its name, why, and the field that it belongs to."""
    empty = not_asked(whens, texts)
    filled = {name for name, text in texts.items() if text.strip() and name not in empty}
    for when in whens:
        if when.why and when.holds(texts):
            yield from ((name, when.why, "") for name in when.fields if name not in filled)
    for group in together:
        if told := [name for name in group if name in filled]:
            yield from ((name, "", told[0]) for name in group if name not in filled)


def smaller(read: Mapping[str, Quantity], inner: str, outer: str) -> Iterator[tuple[Quantity, Quantity]]:
    """Two sizes of which the first must be the smaller one, where both can be read and it is not."""
    if inner in read and outer in read and read[inner].si >= read[outer].si:
        yield read[inner], read[outer]
