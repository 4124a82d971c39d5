"""Every source of pull against a physics engine that shares no force model with us, on a few seeds.

Source: MuJoCo (E. Todorov, T. Erez, Y. Tassa, IROS 2012) plays the runs; `tests.pull.engine_runs` says how. The whole
study, 60 runs as points and 144 filmed ones, is ``python -m benchmarks pull``.
"""

import numpy as np
import pytest

from benchmarks.pull import first_contradiction_s, over_best, rms
from tests.pull.engine_runs import Measured, measure_points, play_run, sled_touches_patch_s

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def matches() -> list[Measured]:
    return [measure_points(play_run("match", seed)) for seed in (0, 1)]


@pytest.fixture(scope="module")
def sleds() -> list[Measured]:
    return [measure_points(play_run("sled", seed)) for seed in (0, 1)]


def pooled(runs: list[Measured], name: str) -> np.ndarray:
    """Errors over stated uncertainties of all frames."""
    found = [run.errors(name) for run in runs]
    return np.concatenate([(error / u)[counts] for error, u, counts in found])


def over_peak(run: Measured, name: str, *, gripping: bool = False) -> float:
    error, _, counts = run.errors(name)
    counts = counts & ~run.slips if gripping else counts
    return rms(error[counts]) / float(run.true_N[run.usable].max())


def test_link_pull_is_within_a_hundredth_and_a_half_of_its_peak(matches: list[Measured]) -> None:
    assert np.mean([over_peak(run, "link") for run in matches]) <= 0.015


def test_drive_pull_is_within_six_hundredths_while_gripping(matches: list[Measured], sleds: list[Measured]) -> None:
    assert np.mean([over_peak(run, "drive", gripping=True) for run in (*matches, *sleds)]) <= 0.06


@pytest.mark.parametrize("name", ["link", "inertia", "drive", "fused"])
def test_errors_are_as_large_as_stated(sleds: list[Measured], matches: list[Measured], name: str) -> None:
    """A few runs have as few draws of what is common to a run, so only gross dishonesty shows here."""
    runs = sleds if name == "inertia" else [*sleds, *matches]
    z = pooled(runs, name)
    assert np.mean(np.abs(z) < 1.96) > 0.75
    assert 0.3 < rms(z) < 1.8


def test_fused_is_about_as_good_as_the_best_source(sleds: list[Measured], matches: list[Measured]) -> None:
    assert over_best([*sleds, *matches]) <= 1.1


@pytest.mark.parametrize("seed", [1])
def test_rough_stretch_is_dated_by_what_contradicts(seed: int) -> None:
    run = play_run("patch", seed)
    measured, touches_s = measure_points(run), sled_touches_patch_s(run)
    assert touches_s is not None
    assert first_contradiction_s(measured) == pytest.approx(touches_s, abs=0.3)
    error, _, counts = measured.errors("fused")
    assert rms(error[counts]) / measured.true_N[measured.usable].max() <= 0.02
