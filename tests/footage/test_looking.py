"""Measures of pictures against pictures of which everything is known."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
from scipy.special import ndtr

from matchvision.footage import LookWatch, measure_pictures, measure_steps, read_facts, weigh_pictures
from matchvision.footage.flicker import shown_rate_per_s
from matchvision.footage.shifting import measure_shift, shrink
from matchvision.records.frames import ClipFacts, Frame
from tests.footage.clips import write_clip

ROWS, COLS = 360, 640


@pytest.fixture(scope="module")
def facts(tmp_path_factory: pytest.TempPathFactory) -> ClipFacts:
    return read_facts(write_clip(tmp_path_factory.mktemp("look") / "clip.mp4", [3000 * k for k in range(20)]))


def frame(luma: npt.NDArray[np.floating], index: int = 0, rate: float = 60.0) -> Frame:
    chroma = np.full((ROWS // 2, COLS // 2), 128, dtype=np.uint8)
    plane = np.clip(np.rint(luma), 0, 255).astype(np.uint8)
    return Frame(index, index / rate, plane, chroma, chroma, (2, 2), (0.0, 0.5))


def stripes(blur_px: float, shift_px: float = 0.0) -> npt.NDArray[np.float64]:
    """Broad bars up the picture whose edges are Gaussian steps of known blur."""
    col = np.arange(COLS, dtype=np.float64)
    level = np.zeros(COLS)
    for k, edge in enumerate(np.arange(30.3, COLS - 20, 41.37)):
        level += (1 if k % 2 == 0 else -1) * ndtr((col - edge - shift_px) / blur_px)
    return np.tile(40 + 150 * level, (ROWS, 1))


def scene(right_px: float = 0.0, down_px: float = 0.0, turn_deg: float = 0.0) -> npt.NDArray[np.float64]:
    """Smooth blobs all over the picture, moved or turned about its middle without interpolation."""
    rng = np.random.default_rng(5)
    row, col = np.mgrid[0:ROWS, 0:COLS].astype(np.float64)
    angle = np.deg2rad(turn_deg)
    x, y = col - COLS / 2 - right_px, row - ROWS / 2 - down_px
    x, y = np.cos(angle) * x + np.sin(angle) * y, -np.sin(angle) * x + np.cos(angle) * y
    picture = np.full((ROWS, COLS), 90.0)
    for _ in range(160):
        at, size = rng.uniform([-380, -220], [380, 220]), rng.uniform(3, 9)
        picture += rng.uniform(-60, 90) * np.exp(-((x - at[0]) ** 2 + (y - at[1]) ** 2) / (2 * size**2))
    return picture


@pytest.mark.parametrize("blur_px", [1.0, 1.6, 3.0])
def test_a_blurred_step_has_its_known_width(facts: ClipFacts, blur_px: float) -> None:
    """Ten to ninety per cent of a Gaussian step span 2.563 standard deviations (normal quantiles ∓1.2816)."""
    look = measure_pictures([frame(stripes(blur_px))], facts)
    assert look.edge_px == pytest.approx(2.563 * blur_px, rel=0.12)


def test_light_is_measured_inside_the_outline(facts: ClipFacts) -> None:
    picture = np.full((ROWS, COLS), 16.0)
    picture[100:200, 200:400] = 235.0
    whole = measure_pictures([frame(picture)], facts)
    assert whole.clipped_ratio == pytest.approx(100 * 200 / (ROWS * COLS), rel=0.01)
    assert whole.dark_ratio == pytest.approx(1 - whole.clipped_ratio, rel=0.01)
    outline = np.array([(205, 105), (394, 105), (394, 194), (205, 194)], dtype=np.float64)
    inside = measure_pictures([frame(picture)], facts, outline)
    assert (inside.mean_ratio, inside.clipped_ratio) == (1.0, 1.0)
    said = weigh_pictures(inside, 60.0, camera_moves=False)
    assert "blown out" in said[0].what


@pytest.mark.parametrize(("rate", "lamp"), [(60.0, 100.0), (30.0, 100.0), (50.0, 120.0)])
def test_lamp_flicker_is_found_with_its_rate(facts: ClipFacts, rate: float, lamp: float) -> None:
    """Rows are lit one after the other (a rolling shutter of 15 ms), so that the mean over the picture hides it."""
    rng = np.random.default_rng(8)
    late_s = np.linspace(0, 0.015, ROWS)
    frames = []
    for k in range(40):
        light = 1 + 0.03 * np.sin(2 * np.pi * lamp * (k / rate + late_s) + 0.4)
        slow = 1 + 0.002 * k  # the camera's exposure at work
        frames.append(frame(16 + 120 * slow * light[:, None] + rng.normal(0, 2, (ROWS, COLS)), k, rate))
    look = measure_pictures(frames, facts)
    assert look.flicker_per_s == pytest.approx(shown_rate_per_s(lamp, rate), abs=0.5)
    assert look.flicker_ratio == pytest.approx(0.03, rel=0.25)  # strips of the picture even out a part of it
    (said,) = [f for f in weigh_pictures(look, rate, camera_moves=False) if "flickers" in f.what]
    assert f"{lamp:.0f} Hz" in said.what


def test_steady_light_does_not_flicker(facts: ClipFacts) -> None:
    rng = np.random.default_rng(9)
    frames = [frame(120 + rng.normal(0, 2, (ROWS, COLS)), k) for k in range(32)]
    look = measure_pictures(frames, facts)
    assert look.flicker_ratio < 0.001
    assert weigh_pictures(look, 60.0, camera_moves=False) == ()


def test_shifts_of_a_known_scene_are_measured() -> None:
    before = shrink(frame(scene()).luma)
    assert measure_shift(before, before, COLS)[0] == pytest.approx(0.0, abs=0.01)
    for right, down in [(0.4, 0.0), (-1.3, 0.8), (4.0, -3.0)]:
        moved, blocks = measure_shift(before, shrink(frame(scene(right, down)).luma), COLS)
        assert blocks >= 30
        assert moved == pytest.approx(np.hypot(right, down), abs=0.05)
    # A turn about the middle moves the blocks each its own way, which no common shift would show.
    turned, _ = measure_shift(before, shrink(frame(scene(turn_deg=0.5)).luma), COLS)
    assert turned == pytest.approx(np.deg2rad(0.5) * 190, rel=0.3)


def test_shake_and_wander_are_told_apart(facts: ClipFacts) -> None:
    rng = np.random.default_rng(2)
    shaken = [frame(scene(*rng.normal(0, 3, 2)), k) for k in range(12)]
    look = measure_pictures(shaken, facts)
    assert look.shake_px > 3
    drifting = [frame(scene(0.5 * k), k) for k in range(0, 60, 10)]
    look = measure_pictures(drifting, facts)
    assert np.isnan(look.shake_px)
    assert look.wander_px == pytest.approx(25.0, abs=0.5)
    assert any("the camera moves" in f.what for f in weigh_pictures(look, 60.0, camera_moves=False))
    assert not any("the camera moves" in f.what for f in weigh_pictures(look, 60.0, camera_moves=True))


def test_soft_and_dark_pictures_are_named(facts: ClipFacts) -> None:
    soft = measure_pictures([frame(stripes(3.0))], facts)
    assert "not sharp" in weigh_pictures(soft, 60.0, camera_moves=False)[0].what
    dark = measure_pictures([frame(16 + 0.05 * (stripes(1.0) - 16))], facts)
    assert "dark" in weigh_pictures(dark, 60.0, camera_moves=False)[0].what


def test_steps_and_gaps_are_counted(tmp_path: Path) -> None:
    ticks = [1500 * k for k in range(30) if k not in {7, 8, 15}]
    clip = write_clip(tmp_path / "gaps.mp4", ticks)
    steps, clip_s = measure_steps(read_facts(clip))
    assert (steps.pictures, steps.gaps, steps.missing) == (27, 2, 3)
    assert steps.median_s == pytest.approx(1 / 60, abs=1e-6)
    assert steps.longest_s == pytest.approx(0.05)
    assert steps.longest_at_s == pytest.approx(0.1)
    part, _ = measure_steps(read_facts(clip), 0.2, 0.3)
    assert part.pictures == int(np.sum((clip_s >= 0.2 - 1e-6) & (clip_s <= 0.3 + 1e-6)))


def test_a_look_in_passing_finds_what_a_look_at_all_pictures_finds(facts: ClipFacts) -> None:
    """Pictures are let go of one by one; a lamp's flicker, the camera's shake and its wander are told all the same."""
    rng = np.random.default_rng(6)
    lit = [1 + 0.03 * np.sin(2 * np.pi * 100.0 * k / 60) for k in range(32)]
    still = scene()
    begin = [frame(16 + light * (np.roll(still, rng.integers(-2, 3), axis=1) - 16), k) for k, light in enumerate(lit)]
    later = [frame(np.roll(still, 12, axis=1), 200), frame(np.roll(still, 20, axis=1), 300)]
    watch = LookWatch([*begin[:12:4], *later], facts)
    for picture in begin:
        watch.see(picture)
    found, wanted = watch.look(), measure_pictures([*begin, *later], facts)
    assert found.pictures == wanted.pictures == 34
    assert found.pairs == wanted.pairs == 31
    assert found.flicker_per_s == pytest.approx(20.0, abs=0.5)
    assert found.flicker_ratio == pytest.approx(wanted.flicker_ratio)
    assert found.shake_px == pytest.approx(wanted.shake_px, rel=0.05)
    assert found.wander_px == pytest.approx(20.0, abs=3.0)


def test_a_first_look_at_the_beginning_alone_is_made_up_for_in_passing(facts: ClipFacts) -> None:
    facts = replace(facts, duration_s=10.0)
    still = scene()
    begin = [frame(still, k) for k in range(40)]
    later = [frame(1.3 * still if k < 450 else 1.3 * np.roll(still, 12, axis=1), k) for k in range(50, 601, 25)]
    passing, everywhere = LookWatch(begin[:12], facts), LookWatch([*begin[:12], *later], facts)
    for picture in [*begin, *later]:
        passing.see(picture)
        everywhere.see(picture)
    found, wanted = passing.look(), everywhere.look()
    assert wanted.drift_ratio > 0.2
    assert found.drift_ratio == pytest.approx(wanted.drift_ratio, rel=0.3)  # its mean weighs the beginning more
    assert found.wander_px == pytest.approx(12.0, abs=3.0)
    assert wanted.wander_px == pytest.approx(12.0, abs=3.0)
