"""A record in blocks: few enough for a fit to be quick, each the mean of its samples."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.calc.base.constants import Floats
from app.calc.base.errors import OutOfRange

POINTS = 300
"""Mean values that a curve is fitted by, whatever its number of samples [-]."""


_MOST = 8000  # samples that a model is taken at


@dataclass(frozen=True)
class Blocks:
    """A burn's samples in blocks: times of all samples [s] (N,), where each block begins (B,), and its mean (B,)."""

    time: Floats
    begins: NDArray[np.intp]
    value: Floats

    @property
    def middle(self) -> Floats:
        """Mean time of each block [s]."""
        return self.mean(self.time)

    def mean(self, values: Floats) -> Floats:
        """Mean of each block of values at the samples' own times, shape (..., N) to (..., B)."""
        counts = np.diff(np.append(self.begins, len(self.time)))
        return np.asarray(np.add.reduceat(values, self.begins, axis=-1) / counts)


def blocks(time: Floats, value: Floats, count: int = POINTS) -> Blocks:
    """Put samples together into blocks whose means are fitted.

    Parameters
    ----------
    time, value : ndarray
        Samples [s] and any unit [-], shape (N,).
    count : int
        Most blocks [-]; fewer where there are fewer than three samples to each.

    Returns
    -------
    Blocks
        Of as many samples each as can be.

    Raises
    ------
    OutOfRange
        Fewer than thirty samples.

    Notes
    -----
    Means thin the noise and leave neighbours strangers; thinning for drawing keeps peaks instead. A model is taken at
    the same times and averaged the same way, so nothing is lost where a curve bends. Very long records are averaged
    down to a few thousand samples first.

    Examples
    --------
    >>> len(blocks(np.arange(90.0), np.arange(90.0), 10).value)
    10
    """
    if len(time) < 30:
        raise OutOfRange("curve", f"{len(time)} samples are too few to fit.", "Record faster.")
    if len(time) > _MOST:
        coarse = Blocks(time, _begins(len(time), _MOST // 2), value)
        return blocks(coarse.middle, coarse.mean(value), count)
    made = Blocks(time, _begins(len(time), min(count, len(time) // 3)), value)
    return Blocks(time, made.begins, made.mean(value))


def _begins(samples: int, count: int) -> NDArray[np.intp]:
    return np.linspace(0, samples, count + 1)[:-1].astype(np.intp)
