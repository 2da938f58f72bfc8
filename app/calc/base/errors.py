"""The errors a calculation can raise: each names the field, the fault and the way out."""

from app.calc.base.notes import Note, joined, sentence


class CalcError(ValueError):
    """A calculation cannot be done with what was given.

    Attributes
    ----------
    field : str
        Name of the argument at fault, as the caller would know it.
    fault : str or Note
        What is wrong, in words.
    remedy : str or Note
        What to do about it, in words.
    """

    def __init__(self, field: str, fault: str | Note, remedy: str | Note = "") -> None:
        super().__init__(f"{field}: {fault} {remedy}".strip())
        self.field = field
        self.fault = fault
        self.remedy = remedy

    @property
    def words(self) -> Note:
        """Fault and remedy as they follow the name of the field."""
        return joined(self.fault, self.remedy)

    @property
    def sentence(self) -> Note:
        """Fault and remedy by themselves."""
        return sentence(self.words)


class OutOfRange(CalcError):
    """A number lies outside what the formula or the data was made for."""


class BlendError(CalcError):
    """A blend is not one of potassium nitrate with sugars, or its fractions do not add up."""


class GeometryError(CalcError):
    """Sizes contradict each other: a core wider than its grain, a grain longer than its case."""


class NoSolution(CalcError):
    """The equations have no answer that a real motor or mixture could reach."""
