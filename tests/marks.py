"""The marks of a figure whose motors were sampled."""

from app.services.learning.prediction_record import Range


def marks(of: Range) -> tuple[float, float, float]:
    """Its low mark, its middle and its high mark, which a figure that was not sampled lacks."""
    assert of.low is not None
    assert of.high is not None
    return of.low, of.mid, of.high


def width(of: Range) -> float:
    """From its low mark to its high one, in the figure's own unit."""
    low, _, high = marks(of)
    return high - low
