"""The moment at which SciPy's solver stops."""

from collections.abc import Callable
from dataclasses import dataclass

from app.calc.base.constants import Floats


@dataclass(frozen=True)
class Stop:
    """An event of `solve_ivp` that ends it, where `gap` of time and state goes through nought.

    The solver reads `terminal` and `direction` off what it is given (SciPy's manual, `solve_ivp`, `events`).
    """

    gap: Callable[[float, Floats], float]
    direction: float = 0.0
    terminal: bool = True

    def __call__(self, now: float, state: Floats) -> float:
        return float(self.gap(now, state))
