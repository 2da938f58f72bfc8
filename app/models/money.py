"""Money as a person types it: an amount with the currency written beside it, or none. Nothing is ever exchanged."""

import re
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import BeforeValidator

MOST = 1e6
"""The largest price that a form takes; more is a slip."""

_CURRENCY = r"[^\W\d_]{1,8}|[^\w\s.,+\-]"
_AMOUNT = r"\d{1,9}(?:[.,]\d{1,2})?"
_TYPED = re.compile(rf"(?:(?P<before>{_CURRENCY})\s*)?(?P<amount>{_AMOUNT})(?:\s*(?P<after>{_CURRENCY}))?")


@dataclass(frozen=True)
class Money:
    """An amount [in its currency] and its currency as typed, "" where none was written."""

    amount: float
    currency: str = ""

    def __str__(self) -> str:
        """As it stands in a form.

        >>> str(Money(12.5, "€")), str(Money(3.0))
        ('12.50 €', '3.00')
        """
        return f"{self.amount:.2f} {self.currency}".strip()


def read(text: Any) -> Money | None:
    """The money in a text; nothing in an empty one.

    >>> read("€ 12,50"), read("12.5 EUR"), read(" ")
    (Money(amount=12.5, currency='€'), Money(amount=12.5, currency='EUR'), None)

    Raises
    ------
    ValueError
        It is no amount, has a currency on both sides, or is out of all reason; the message says what to type.
    """
    if text is None or isinstance(text, Money):
        return text
    words = " ".join(str(text).split())
    if not words:
        return None
    if words.startswith(("-", "−")):
        raise ValueError("This must be at least 0.")
    found = _TYPED.fullmatch(words)
    if found is None or (found["before"] and found["after"]):
        raise ValueError("Write an amount, with its currency if you like, such as 12.50 or € 12.50.")
    amount = float(found["amount"].replace(",", "."))
    if amount > MOST:
        raise ValueError("At most a million; check the number.")
    return Money(amount, found["before"] or found["after"] or "")


Price = Annotated[Money, BeforeValidator(read)]
"""A form field that takes money."""
