"""Bands from the stated uncertainties: quasi-random samples, each a whole match."""

from collections.abc import Mapping, Sequence

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.mechanics.stated import Stated, tied_numbers


def draw_samples(stated: Mapping[str, Stated], samples: int, seed: int) -> list[dict[str, float]]:
    """Values of every stated number, by key, for each of ``samples`` matches.

    Numbers are normal about the stated value with the stated u, cut off where they lose their meaning (below 0, an
    efficiency above 1). A machine's static and sliding grip of equal value and u are one number, measured once, and
    move together. Without any uncertainty there is one sample.

    Notes
    -----
    Scrambled Sobol points (scipy.stats.qmc), carried through the inverse of the cut-off normal distribution: Monte
    Carlo propagation as in JCGM 101:2008, with points that fill space more evenly than random ones.
    Checked by: tests/forecast/test_bands.py::test_samples_have_the_stated_spread
    """
    values = {key: number.value for key, number in stated.items()}
    follows = tied_numbers(stated)
    uncertain = [number for key, number in stated.items() if number.u > 0 and key not in follows]
    if not uncertain:
        return [values]
    # Slow and large to load, and wanted long after the clip was watched.
    from scipy.stats import qmc, truncnorm

    sobol = qmc.Sobol(len(uncertain), seed=np.random.default_rng(seed))
    points = sobol.random_base2(int(np.ceil(np.log2(samples))))[:samples]
    out = [dict(values) for _ in range(len(points))]
    for column, number in enumerate(uncertain):
        low, high = -number.value / number.u, (number.highest - number.value) / number.u
        inside = np.clip(points[:, column], 1e-9, 1 - 1e-9)
        for row, drawn in enumerate(truncnorm.ppf(inside, low, high, loc=number.value, scale=number.u)):
            out[row][number.key] = float(drawn)
    for row_values in out:
        row_values.update({key: row_values[leader] for key, leader in follows.items()})
    return out


def band(rows: Sequence[FloatArray]) -> tuple[FloatArray, FloatArray]:
    """Median and standard uncertainty (standard deviation over samples) of (k,) arrays, one a sample."""
    stacked = np.stack(rows)
    spread = stacked.std(axis=0, ddof=1, dtype=np.float64) if len(rows) > 1 else np.zeros(stacked.shape[1:])
    return np.asarray(np.median(stacked, axis=0), dtype=np.float64), spread


def chance_interval(stated: float, samples: int) -> tuple[float, float]:
    """95 % interval of a `chance` from the number of samples alone.

    Notes
    -----
    Quantiles of the posterior Beta(count + ½, samples − count + ½); L. D. Brown, T. T. Cai, A. DasGupta, Statistical
    Science 16 (2001) 101, section 3.1.1. Quasi-random samples scatter less than the random ones that this is made for.
    Checked by: tests/published/test_chance_interval.py::test_jeffreys_interval_of_a_chance
    """
    # Slow to load, and wanted only where a chance is told.
    from scipy.stats import beta

    first = stated * (samples + 1.0)
    posterior = beta(first, samples + 1.0 - first)
    return float(posterior.ppf(0.025)), float(posterior.ppf(0.975))


def chance(count: int, samples: int) -> float:
    """Chance from a count among samples, never quite 0 or 1: (count + ½) / (samples + 1).

    Notes
    -----
    Posterior mean under the Jeffreys prior for a proportion; H. Jeffreys, Theory of Probability (1961), section 3.9.
    Checked by: tests/forecast/test_bands.py::test_chances_of_both_sides_add_to_one
    """
    return (count + 0.5) / (samples + 1.0)
