"""Slides by the letter of their definition, in every course that the slip may have taken."""

from dataclasses import replace

import numpy as np
import pytest

from matchvision.arrays import FloatArray
from matchvision.grip.spells import Slide, find_slides, spells_of
from matchvision.records.motion import WheelMotion
from tests.made_motion import make_wheel, seconds

T_S = seconds(4.0)
EVERYWHERE = np.ones(len(T_S), dtype=np.bool_)
#: How fast slip rises and falls about the limit [m/s each second], and its u [m/s], which all frames share: each
#: passing of the limit is off by u over that slope, a time between two passings by twice as much, 26.7 ms.
SLOPE, U = 0.75, 0.010


def rising_between(start_s: float, end_s: float) -> FloatArray:
    """A slip speed that passes 30 mm/s at two moments, at the same slope, and is 20 mm/s backwards else."""
    middle_s, half_s = 0.5 * (start_s + end_s), 0.5 * (end_s - start_s)
    return np.maximum(0.030 + SLOPE * (half_s - np.abs(T_S - middle_s)), -0.02)


def slides_of(slip: FloatArray, u: float = U) -> list[Slide]:
    wheel = make_wheel("plover", len(T_S), slip_speed_m_s=slip, u_slip_speed_m_s=u)
    return find_slides(wheel, EVERYWHERE, T_S)


@pytest.mark.parametrize(("slid_s", "chance"), [(0.18, 0.8686), (0.11, 0.0)])
def test_chance_of_a_short_slide_is_that_of_its_length(slid_s: float, chance: float) -> None:
    """0.18 s exceed 0.15 s by 1.12 of what they are off, 86.9 %. Below half, nothing is told."""
    slides = slides_of(rising_between(2.0 - slid_s / 2, 2.0 + slid_s / 2))
    assert [slide.chance for slide in slides] == ([pytest.approx(chance, abs=0.03)] if chance else [])


@pytest.mark.parametrize(("gap_s", "chance"), [(0.08, 0.8686), (0.12, 0.9956), (0.03, 0.0)])
def test_two_slips_are_told_apart_as_surely_as_their_gap_is_known(gap_s: float, chance: float) -> None:
    """Slip falls below the limit for 0.08 s: longer than 0.05 s by 1.12 of what that is off, 86.9 %."""
    slip = np.minimum(rising_between(1.0, 3.0), 0.2)
    slip = np.minimum(slip, 0.030 + SLOPE * (np.abs(T_S - 2.0) - gap_s / 2))
    slides = slides_of(slip)
    assert len(slides) == (2 if chance else 1)
    assert slides[0].chance > 0.99
    assert (slides[0].start_s, slides[-1].end_s) == pytest.approx((1.0, 3.0), abs=0.002)
    if chance:
        assert slides[1].chance == pytest.approx(chance, abs=0.03)
        # Only courses that part the two say when: those with long gaps.
        assert slides[0].end_s == pytest.approx(2.0 - gap_s / 2, abs=0.006)
        assert slides[1].start_s == pytest.approx(2.0 + gap_s / 2, abs=0.006)


def test_dates_are_the_courses_own() -> None:
    """Each passing is off by u over its slope, whether the smoothed course is moved or whole courses are drawn."""
    slip = np.minimum(rising_between(1.0, 3.0), 0.2)
    (moved,) = slides_of(slip)
    wheel = make_wheel("plover", len(T_S), slip_speed_m_s=slip)
    off = 0.010 * np.random.default_rng(3).standard_normal(200)
    drawn = replace(wheel, slip_courses_m_s=slip + np.concatenate([off, -off])[:, None])
    (own,) = find_slides(drawn, EVERYWHERE, T_S)
    for slide, near in ((moved, 0.05), (own, 0.2)):
        assert (slide.start_s, slide.end_s) == pytest.approx((1.0, 3.0), abs=0.001)
        assert slide.u_start_s == pytest.approx(np.hypot(U / SLOPE, 1 / 60 / np.sqrt(12)), rel=near)


def test_backward_slip_is_a_slide_of_its_own() -> None:
    slides = slides_of(np.where(T_S < 2.05, rising_between(1.0, 2.0), -rising_between(2.1, 3.0)))
    assert [(round(s.start_s, 2), round(s.end_s, 2)) for s in slides] == [(1.0, 2.0), (2.1, 3.0)]


def test_unseen_wheel_goes_on_sliding_for_a_while() -> None:
    def found(unseen_s: float) -> list[Slide]:
        slip = np.where((T_S > 2.0) & (2.0 + unseen_s > T_S), np.nan, np.minimum(rising_between(1.0, 3.0), 0.2))
        return slides_of(slip)

    assert len(found(0.10)) == 1
    assert len(found(0.30)) == 2


def test_course_known_in_part_is_dated_at_its_known_frames() -> None:
    slip = np.where((T_S > 1.0) & (T_S < 2.0), 0.1, np.nan)
    (spell,) = spells_of(0, slip, np.isfinite(slip), T_S)
    known = T_S[np.isfinite(slip)]
    assert (spell.from_s, spell.to_s) == (known[0], known[-1])


def test_nothing_known_is_no_slide() -> None:
    nothing: WheelMotion = make_wheel("plover", len(T_S), slip_speed_m_s=np.nan)
    assert find_slides(nothing, EVERYWHERE, T_S) == []
