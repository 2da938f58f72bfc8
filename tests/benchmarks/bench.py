"""What the tests of speed use of pytest-benchmark's fixture, whose own methods say nothing of their types."""

from collections.abc import Callable, Mapping, Sequence
from typing import Protocol, TypeVar

R = TypeVar("R")


class Spent(Protocol):
    """How long the rounds took [s]."""

    median: float


class Taken(Protocol):
    stats: Spent


class Benchmark(Protocol):
    extra_info: dict[str, object]
    stats: Taken

    def __call__(self, target: Callable[..., R], *args: object, **named: object) -> R: ...

    def pedantic(
        self,
        target: Callable[..., R],
        args: Sequence[object] = (),
        kwargs: Mapping[str, object] | None = None,
        setup: Callable[[], object] | None = None,
        *,
        rounds: int = 1,
        warmup_rounds: int = 0,
    ) -> R: ...
