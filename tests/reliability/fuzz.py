"""How much the fuzz tests try: the same cases in each ordinary run, so that more of them find nothing new.

GRAINBOOK_FUZZ=20 python -m pytest tests/reliability -k fuzz tries twenty times as many, new ones each time.
"""

import os
from collections import Counter

from hypothesis import HealthCheck, Phase, settings

TIMES = int(os.environ.get("GRAINBOOK_FUZZ", "1"))
CASES = {"addresses": 600, "api": 500, "forms": 300, "parsers": 4000}
"""Least number of cases of each test in the ordinary run."""

TIMEOUT_S = 20.0
"""A request that is not answered by then is stuck; it is far more than any answer takes."""


def tried(most: int) -> settings:
    """Settings for so many examples in the ordinary run; without a database, for the book's state is not in it."""
    return settings(
        max_examples=most * TIMES,
        deadline=None,
        database=None,
        derandomize=TIMES == 1,
        phases=[Phase.explicit, Phase.generate, Phase.shrink],
        suppress_health_check=list(HealthCheck),
    )


def enough(seen: Counter[str], part: str, share: float = 1.0) -> None:
    """Print what was tried, and hold the test to its number of cases."""
    total = sum(seen.values())
    print(f"\nfuzz {part}: {total} cases, {dict(seen.most_common())}")
    assert total >= CASES[part] * TIMES * share, f"only {total} cases"
