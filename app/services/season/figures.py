"""What a chosen motor was expected to do, as it was kept with the choice."""

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from app.models import MotorChoice

Span = tuple[float, float, float]
"""The low end, the middle and the high end of a range of nine in ten."""


@dataclass(frozen=True)
class Figures:
    """Height [m], speed off the rail [m/s], peak pressure as a share of the case's limit, and total impulse [N·s], each
    as a range of nine in ten; of a static test there is no flight. `tested` tells the firings behind the ranges; wind
    [m/s] and ejection delays [s] are those that the motor was looked for with.
    """

    peak_share: Span | None = None
    impulse_ns: Span | None = None
    height_m: Span | None = None
    exit_m_s: Span | None = None
    tested: int = 0
    wind_m_s: float | None = None
    delays_s: tuple[float, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """As they are kept."""
        return asdict(self)


def of(choice: MotorChoice) -> Figures:
    """What was kept with a choice."""
    return read(json.loads(choice.figures_json))


def read(kept: Mapping[str, Any]) -> Figures:
    """Figures as they were kept."""

    def span(name: str) -> Span | None:
        found = kept.get(name)
        return None if found is None else (float(found[0]), float(found[1]), float(found[2]))

    wind = kept.get("wind_m_s")
    return Figures(
        span("peak_share"),
        span("impulse_ns"),
        span("height_m"),
        span("exit_m_s"),
        int(kept.get("tested", 0)),
        None if wind is None else float(wind),
        tuple(float(delay) for delay in kept.get("delays_s", ())),
    )
