"""The errors a calculation can raise: each names the field, the fault and the way out."""


class CalcError(ValueError):
    """A calculation cannot be done with what was given.

    Attributes
    ----------
    field : str
        Name of the argument at fault, as the caller would know it.
    fault : str
        What is wrong, in words.
    remedy : str
        What to do about it, in words.
    """

    def __init__(self, field: str, fault: str, remedy: str = "") -> None:
        super().__init__(f"{field}: {fault} {remedy}".strip())
        self.field = field
        self.fault = fault
        self.remedy = remedy


class OutOfRange(CalcError):
    """A number lies outside what the formula or the data was made for."""


class BlendError(CalcError):
    """A blend is not one of potassium nitrate with sugars, or its fractions do not add up."""


class GeometryError(CalcError):
    """Sizes contradict each other: a core wider than its grain, a grain longer than its case."""


class NoSolution(CalcError):
    """The equations have no answer that a real motor or mixture could reach."""
