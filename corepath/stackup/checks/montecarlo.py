"""Monte Carlo over the contributors, for relations whose weakest place moves about.

The least of a relation over a map is not linear in the errors: with other errors another place is
the weakest. Here every contributor is drawn from a normal distribution centred in its interval with
a standard deviation of a third of its half-width (so that RSS is the three-sigma band), the
thickness of a measured blank as a smooth random field with unit variance and a correlation length,
and the least over all places is taken draw by draw. What is reported is the value that all but
0.135 % of the draws exceed: the lower three-sigma value of a normal distribution, so that on a
linear relation it agrees with RSS.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from corepath.stackup.linear import Linear

__all__ = ["DRAWS", "least_over", "low_quantile", "sample"]

DRAWS = 10_000
SEED = 20_260_801
SIGMAS = 3.0
LOW_SHARE = 0.00135
"""Share of a normal distribution more than three standard deviations below its mean."""

CORRELATION = 150.0
"""mm over which the error of a thickness map stays alike (common practice, no source)."""

FEATURES = 64

Floats = NDArray[np.float64]


def sample(value: Linear, draws: int = DRAWS, seed: int = SEED) -> Floats:
    """(draws,) values of a linear relation."""
    generator = np.random.default_rng(seed)
    total = np.full(draws, value.nominal)
    for name in sorted(value.parts):
        low, high = value.parts[name].extremes
        total += (low + high) / 2 + (high - low) / 2 / SIGMAS * generator.standard_normal(draws)
    return total


def least_over(
    common: Linear,
    places: Floats,
    nominal: Floats,
    error: Floats,
    draws: int = DRAWS,
    seed: int = SEED,
) -> Floats:
    """(draws,) least over (n, 2) `places` of common + nominal + error x field.

    `nominal` and `error` are (n,) mm: the map and the half-width of its error from place to place.
    """
    generator = np.random.default_rng(seed + 1)
    waves = generator.standard_normal((2, FEATURES)) / CORRELATION
    phase = places @ waves
    features = np.hstack([np.cos(phase), np.sin(phase)]) / np.sqrt(FEATURES)
    scaled = features * (error / SIGMAS)[:, None]
    least = np.empty(draws)
    for start in range(0, draws, 1000):
        stop = min(start + 1000, draws)
        weights = generator.standard_normal((stop - start, 2 * FEATURES))
        least[start:stop] = (nominal[None, :] + weights @ scaled.T).min(axis=1)
    return least + sample(common, draws, seed)


def low_quantile(values: Sequence[float] | Floats) -> float:
    """The value that all but 0.135 % exceed."""
    return float(np.quantile(np.asarray(values), LOW_SHARE))
