"""Gaps between rectangles against distances between many points on their outlines."""

import numpy as np
import pytest

from matchvision.geometry.footprints import Footprint, gap_between, nearest_gap, outline_of
from matchvision.records.sheet import Machine
from tests.made_motion import make_machine


def rectangle(x: float, y: float, heading: float, length: float, width: float) -> Footprint:
    one = np.ones(1)
    return Footprint(x * one, y * one, heading * one, length, width, 0.001 * one, 0.001 * one, 0 * one, 0.002)


def outline(r: Footprint) -> np.ndarray:
    t = np.linspace(-0.5, 0.5, 101)
    local = np.concatenate([
        np.stack([t * r.length_m, np.full_like(t, s * r.width_m / 2)], axis=-1) for s in (-1, 1)
    ] + [np.stack([np.full_like(t, s * r.length_m / 2), t * r.width_m], axis=-1) for s in (-1, 1)])  # fmt: skip
    return np.asarray(local @ r.axes[0] + [r.x_m[0], r.y_m[0]])


def test_gap_of_turned_rectangles() -> None:
    """Face to face the gap is the least distance; apart or not is right at any turn."""
    face = rectangle(0.0, 0.0, 0.0, 0.28, 0.23)
    gap, u, way = gap_between(face, rectangle(0.35, 0.05, 0.0, 0.04, 0.3))
    assert gap[0] == pytest.approx(0.35 - 0.14 - 0.02)
    assert way[0] == pytest.approx([1.0, 0.0])
    assert u[0] == pytest.approx(np.sqrt(2 * 0.001**2 + 2 * 0.002**2))
    generator = np.random.default_rng(1)
    for _ in range(60):
        other = rectangle(
            generator.uniform(-0.3, 0.3), generator.uniform(-0.3, 0.3), generator.uniform(0, np.pi), 0.25, 0.12
        )
        gap = gap_between(face, other)[0]
        distance = np.linalg.norm(outline(face)[:, None] - outline(other)[None], axis=-1).min()
        inside = np.all(np.abs((outline(other) - [0, 0]) @ face.axes[0].T) < [0.14, 0.115], axis=1).any()
        within = np.all(
            np.abs((outline(face) - outline(other).mean(0)) @ other.axes[0].T) < [0.125, 0.06], axis=1
        ).any()
        assert (gap[0] <= 0) == (inside or within or distance < 3e-3) or abs(gap[0]) < 4e-3
        if gap[0] > 0:
            assert gap[0] <= distance + 3e-3


def test_a_second_body_is_part_of_the_outline() -> None:
    """A body ahead of a machine that is turned by a quarter: what stands before it is as near as that body is."""
    body = {"name": "ram", "mass_kg": 0.5, "size_m": (0.1, 0.06, 0.1), "at_m": (0.19, 0.0, 0.05)}
    plain = {"home": "+x", "mass_kg": 2.0, "size_m": (0.28, 0.23, 0.12)}
    moved = make_machine("heron", 1, x_m=0.0, y_m=0.0, heading_deg=90.0)
    wall = (rectangle(0.0, 0.4, 0.0, 0.5, 0.02),)
    alone, with_ram = (outline_of(moved, Machine.model_validate(m)) for m in (plain, plain | {"body": [body]}))
    assert (len(alone), len(with_ram)) == (1, 2)
    assert nearest_gap(alone, wall)[0][0] == pytest.approx(0.39 - 0.14)
    assert nearest_gap(with_ram, wall)[0][0] == pytest.approx(0.39 - 0.24)
