"""Centres of drawn discs against the bound that noise sets: our own derivation, confirmed by simulation.

A blurred edge of contrast C in white noise σ carries C² / (2 √π b σ²) of information a pixel of its length about a
shift across it. Around a disc half of that bears on each axis: var ≥ 2 b σ² / (√π r C²). The information of luma and of
chroma adds up.
"""

import numpy as np
import pytest

from benchmarks.centres import measure_case, measure_streaks
from benchmarks.discs import bound_px


@pytest.mark.parametrize(
    ("radius_px", "contrast", "noise", "blur_px"),
    [(4.0, 40.0, 6.0, 1.0), (6.0, 80.0, 3.0, 1.0), (8.0, 120.0, 1.0, 0.7), (14.0, 40.0, 6.0, 1.5)],
)
def test_centres_reach_the_bound_and_say_so(radius_px: float, contrast: float, noise: float, blur_px: float) -> None:
    row = measure_case(radius_px, contrast, noise, blur_px)
    ratio, deviation = float(row["rms_over_bound"]), float(row["standard_error"])
    assert row["lost"] == 0
    # An error below the bound by more than three standard errors would be a fault of the test.
    assert 1 - 3 * deviation < ratio < 1.25
    assert float(row["bias_px"]) < 0.01
    # Over 800 coordinates the rms is known to 2.5 %.
    assert float(row["u_over_rms"]) == pytest.approx(1, abs=0.1)


def test_coded_discs_stay_near_their_places() -> None:
    row = measure_case(8.0, 100.0, 2.0, 1.0, "quick", counted=8)
    assert row["lost"] == 0
    assert float(row["rms_px"]) < 0.06
    assert 0.6 < float(row["u_over_rms"]) < 1.7


@pytest.mark.parametrize(
    ("radius_px", "contrast", "noise", "blur_px", "luma_alone_px"),
    [(10.0, 100.0, 2.0, 1.0, 0.006854), (5.0, 50.0, 3.0, 0.7, 0.02480), (8.0, 80.0, 4.0, 1.5, 0.02321)],
)
def test_the_bound_is_the_closed_form(
    radius_px: float, contrast: float, noise: float, blur_px: float, luma_alone_px: float
) -> None:
    # The closed form is for luma alone, without rounding; chroma with a quarter of the samples and twice the box adds.
    soft = [np.hypot(blur_px, box / np.sqrt(12)) for box in (1, 2)]
    share = 1 + soft[0] / soft[1] / 4
    rounding = (noise**2 + 1 / 12) / noise**2
    assert bound_px(radius_px, contrast, noise, blur_px) == pytest.approx(
        luma_alone_px * np.sqrt(rounding / share), rel=2e-4
    )


@pytest.mark.slow
def test_a_streak_moves_no_centre_from_the_middle_of_the_exposure() -> None:
    row = measure_streaks(6.0, 80.0, 2.0, 1.0, 6.0, 0.5)
    assert row["lost"] == 0
    # 150 discs: their mean is known to a tenth of the rms error. Edges along the way are as sharp as ever, those across
    # are spread over its length: information lies between half of a standing disc's and all of it.
    assert float(row["bias_px"]) < 0.005
    assert float(row["rms_over_bound"]) < 1.8
    assert 0.8 < float(row["u_over_rms"]) < 1.3
