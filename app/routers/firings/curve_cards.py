"""Questions about a logger's file as radio cards of its page, and the form with what was chosen put into it."""

from collections.abc import Iterable
from dataclasses import dataclass
from urllib.parse import parse_qsl, urlencode

from markupsafe import Markup

from app.drawings.small_curve import small_curve
from app.forms import Form
from app.models.base import FormIn
from app.services.firings.questions import Question, Way

FIRST = 5
"""Cards that stand open where they are ordered by how likely they are: one line of them on a laptop."""

CHOOSE, CHOSEN = "choose.", "chosen."
"""Before the name of a question: what is chosen now, and what was when the page was drawn."""


@dataclass(frozen=True)
class Card:
    """One way to read a file as it is drawn; `value` is what its button sends."""

    way: Way
    curve: Markup
    value: str
    checked: bool


@dataclass(frozen=True)
class Asked:
    """A question with its cards; `chosen` is the value of the one that stands in the form."""

    question: Question
    cards: list[Card]
    chosen: str

    @property
    def doubted(self) -> bool:
        """Whether another way than the chosen one is the likely one."""
        return any(card.way.likely and not card.checked for card in self.cards)

    @property
    def first(self) -> list[Card]:
        """Those that stand open: the first ones, and the one that is chosen."""
        most = FIRST if any(card.way.why for card in self.cards) else len(self.cards)
        return [card for i, card in enumerate(self.cards) if i < most or card.checked]

    @property
    def rest(self) -> list[Card]:
        """Those that are folded."""
        return [card for card in self.cards if card not in self.first]


def asked(questions: Iterable[Question], form: Form) -> list[Asked]:
    """The questions as they are drawn, what stands in the form marked."""
    found = []
    for question in questions:
        cards = [
            Card(way, small_curve(way.time_s, way.values, way.called), urlencode(way.texts), _stands(way, form))
            for way in question.ways
        ]
        found.append(Asked(question, cards, next((card.value for card in cards if card.checked), "")))
    return found


def _stands(way: Way, form: Form) -> bool:
    return all(form.text(name) == text for name, text in way.texts.items())


def with_choices(typed: list[tuple[str, str]], model: type[FormIn]) -> list[tuple[str, str]]:
    """A form as it was sent, with the texts of each way that was chosen since its page was drawn."""
    sent = dict(typed)
    chosen: dict[str, str] = {}
    for name, text in typed:
        if name.startswith(CHOOSE) and text != sent.get(CHOSEN + name.removeprefix(CHOOSE), ""):
            chosen |= {
                key: value for key, value in parse_qsl(text, keep_blank_values=True) if key in model.model_fields
            }
    kept = [(name, text) for name, text in typed if name not in chosen and not name.startswith((CHOOSE, CHOSEN))]
    return [*kept, *chosen.items()]
