"""Monte Carlo over the contributors, for heights whose weakest place moves with the errors.

The minimum of a height over a map is not linear in the errors: with other errors another place is
the weakest. Here every contributor is drawn from a normal distribution centred in its interval with
a standard deviation of a third of its half-width (so that RSS is the three-sigma band), and the
error of a measured map as a smooth Gaussian random field of unit variance with a correlation
length. The minimum over all places is taken in each draw. The result is the value that all but
0.135 % of the draws exceed: the lower three-sigma value of a normal distribution, so that for a
linear relation it agrees with RSS.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from corepath.stackup.linear import Linear

__all__ = ["DRAWS", "least_over", "low_quantile", "sample"]

# Some 13 of these draws lie below the quantile: it scatters by about 3 % of the three-sigma band.
DRAWS = 10_000
# fixed, so that the same job gives the same report
SEED = 20_260_801
# half-width of an interval in standard deviations
SIGMAS = 3.0
LOW_SHARE = 0.00135
"""Share of a normal distribution more than three standard deviations below its mean."""

CORRELATION = 150.0
"""mm over which the error of a thickness map stays alike (common practice, no source)."""

# random waves that make up one field (random Fourier features)
FEATURES = 64

Floats = NDArray[np.float64]


def sample(value: Linear, draws: int = DRAWS, seed: int = SEED) -> Floats:
    """Return (draws,) random values of a length with errors, mm."""
    generator = np.random.default_rng(seed)
    total = np.full(draws, value.nominal)
    # By name, so that the draws do not depend on the order in which the errors were added.
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
    """Return (draws,) minima over (n, 2) `places` of common + nominal + error x field, mm.

    `common` holds the errors that all places share; `nominal` and `error` are (n,) mm: the map and
    the half-width of its error at each place.
    """
    # A stream of its own: with the same seed as `sample` field and common errors would correlate.
    generator = np.random.default_rng(seed + 1)
    # Random Fourier features (Rahimi and Recht 2007, from memory): a sum of waves with normally
    # distributed wave numbers has the covariance exp(-d² / 2 L²), L the correlation length. cos and
    # sin of each wave, over the root of their number, give variance 1 at every place.
    waves = generator.standard_normal((2, FEATURES)) / CORRELATION
    phase = places @ waves
    features = np.hstack([np.cos(phase), np.sin(phase)]) / np.sqrt(FEATURES)
    scaled = features * (error / SIGMAS)[:, None]
    least = np.empty(draws)
    # 1000 draws at a time bound the matrix draws x places.
    for start in range(0, draws, 1000):
        stop = min(start + 1000, draws)
        weights = generator.standard_normal((stop - start, 2 * FEATURES))
        least[start:stop] = (nominal[None, :] + weights @ scaled.T).min(axis=1)
    return least + sample(common, draws, seed)


def low_quantile(values: Sequence[float] | Floats) -> float:
    """Return the value that all but 0.135 % of `values` (n,) exceed: three standard deviations
    below the mean of a normal distribution."""
    return float(np.quantile(np.asarray(values), LOW_SHARE))
