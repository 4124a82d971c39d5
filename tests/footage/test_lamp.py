"""A lamp that lights is dated between pictures."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from matchvision.errors import CannotMeasure
from matchvision.footage.lamp import LampWatch
from matchvision.records.frames import ClipFacts, Frame

FACTS = ClipFacts(Path("clip.mp4"), "", "h264", "yuv420p", 64, 48, 0, False, 30.0, 10.0, "bt709", False, "")
TICK_S = 1 / 30
AT_PX = (40.0, 30.0)


def show(index: int, rgb: Sequence[float], rng: np.random.Generator, clip_s: float | None = None) -> Frame:
    """A picture with a disc of linear light (red, green, blue) at the lamp's place, in noise (BT.709, sRGB curve)."""
    light = np.clip(rgb, 0, 1)
    r, g, b = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    y = 0.2126 * r + 0.7152 * g + 0.0722 * b
    rows, cols = np.mgrid[:48, :64]
    disc = np.hypot(cols - AT_PX[0], rows - AT_PX[1]) < 8
    planes = []
    for base, value, mask in (
        (90, 16 + 219 * y, disc),
        (128, 128 + 224 * (b - y) / 1.8556, disc[::2, ::2]),
        (128, 128 + 224 * (r - y) / 1.5748, disc[::2, ::2]),
    ):
        plane = np.where(mask, value, base) + 1.5 * rng.standard_normal(mask.shape)
        planes.append(np.clip(plane.round(), 0, 255).astype(np.uint8))
    return Frame(
        index, index * TICK_S if clip_s is None else clip_s, planes[0], planes[1], planes[2], (2, 2), (0.0, 0.5)
    )


def film(
    on_s: Sequence[float], exposure_s: float, dark: Sequence[float], lit: Sequence[float], seed: int = 1
) -> LampWatch:
    """Watch a lamp that changes between dark and lit at the given times."""
    rng = np.random.default_rng(seed)
    watch = LampWatch(FACTS, AT_PX, readout_s=0.0)
    fine = (np.arange(60) + 0.5) / 60 - 0.5
    for k in range(40):
        moments = k * TICK_S + exposure_s * fine
        share = float(np.mean(np.searchsorted(np.asarray(on_s), moments) % 2))
        watch.see(show(k, [(1 - share) * d + share * w for d, w in zip(dark, lit, strict=True)], rng))
    return watch


@pytest.mark.parametrize(
    ("dark", "lit"),
    [
        ((0.1, 0.1, 0.1), (0.8, 0.75, 0.6)),
        ((0.05, 0.02, 0.02), (0.7, 0.05, 0.05)),
        ((0.1, 0.1, 0.1), (5.0, 5.0, 4.0)),
    ],
)
def test_lighting_is_dated_within_its_uncertainty(dark: Sequence[float], lit: Sequence[float]) -> None:
    rng = np.random.default_rng(6)
    ratios = []
    for seed in range(60):
        on_s, exposure_s = rng.uniform(0.5, 0.8), rng.uniform(0.05, 0.95) * TICK_S
        signal = film([on_s], exposure_s, dark, lit, seed).signal()
        assert abs(signal.clip_s - on_s) < TICK_S
        assert signal.u_s < 0.45 * TICK_S
        ratios.append((signal.clip_s - on_s) / signal.u_s)
    assert np.mean(np.abs(ratios) < 1.96) >= 0.93
    assert 0.5 < np.sqrt(np.mean(np.square(ratios))) < 1.3


def test_the_share_of_an_exposure_dates_better_than_a_frame() -> None:
    # Lit for a quarter of the exposure of picture 20: half an exposure before its end.
    signal = film([20 * TICK_S + 0.25 * TICK_S / 2], TICK_S / 2, (0.1, 0.1, 0.1), (0.7, 0.7, 0.7)).signal()
    assert signal.clip_s == pytest.approx(20 * TICK_S + 0.25 * TICK_S / 2, abs=0.1 * TICK_S)
    assert signal.u_s < 0.2 * TICK_S
    assert "lamp" in signal.source


def test_a_lamp_in_a_later_row_is_exposed_later() -> None:
    rng = np.random.default_rng(2)
    early, late = LampWatch(FACTS, AT_PX, readout_s=0.0), LampWatch(FACTS, AT_PX, readout_s=0.02)
    for k in range(30):
        frame = show(k, (0.6, 0.6, 0.6) if k > 14 else (0.1, 0.1, 0.1), rng)
        early.see(frame)
        late.see(frame)
    assert late.signal().clip_s - early.signal().clip_s == pytest.approx((30 / 47 - 0.5) * 0.02)


def test_a_later_row_is_later_by_more_of_a_clip_in_slow_motion() -> None:
    """The readout is real time: a clip that plays eight times slower shows it as eight times as long."""
    noted = replace(FACTS, picture_rate_per_s=30.0, recorded_rate_per_s=240.0)
    for facts, recorded_fps in ((noted, None), (FACTS, 240.0)):
        dates = []
        for readout_s in (0.0, 0.004):
            rng = np.random.default_rng(3)
            watch = LampWatch(facts, AT_PX, readout_s=readout_s, recorded_fps=recorded_fps)
            for k in range(40):
                watch.see(show(k, (0.7, 0.7, 0.7) if k >= 20 else (0.1, 0.1, 0.1), rng))
            dates.append(watch.signal().clip_s)
        assert dates[1] - dates[0] == pytest.approx((AT_PX[1] / 47 - 0.5) * 0.004 * 8)


def test_a_lamp_that_blinks_is_refused_with_its_times() -> None:
    with pytest.raises(CannotMeasure, match=r"lights 2 times .*0\.3.*0\.9") as caught:
        film([0.3, 0.6, 0.9], TICK_S / 2, (0.1, 0.1, 0.1), (0.7, 0.7, 0.7)).signal()
    assert "start_s" in caught.value.do


def test_a_lamp_that_goes_out_is_said_to() -> None:
    with pytest.raises(CannotMeasure, match=r"goes out at 0\.7"):
        film([-1.0, 0.7], TICK_S / 2, (0.1, 0.1, 0.1), (0.7, 0.7, 0.7)).signal()


def test_where_nothing_lights_the_place_is_asked_for() -> None:
    with pytest.raises(CannotMeasure, match=r"no lamp lights at \(40, 30\)") as caught:
        film([99.0], TICK_S / 2, (0.1, 0.1, 0.1), (0.7, 0.7, 0.7)).signal()
    assert "lamp_at_px" in caught.value.do


def test_a_place_outside_the_picture_is_refused() -> None:
    with pytest.raises(CannotMeasure, match="outside the picture of 64 × 48"):
        LampWatch(FACTS, (70.0, 10.0))
