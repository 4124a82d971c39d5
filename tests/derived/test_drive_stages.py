"""Stages of a drive multiply, and so do their uncertainties, by a worked example and by drawing.

Two stages: a gearbox of 64 : 1 that passes on 0.85 ± 0.03 of the power, and a belt of 4.1 ± 0.05 that passes on
0.95 ± 0.02 (standard uncertainties). By hand:

- ratio 64 · 4.1 = 262.4; u = 64 · 0.05 = 3.2;
- efficiency 0.85 · 0.95 = 0.8075; (u / 0.8075)² = (0.03 / 0.85)² + (0.02 / 0.95)² = 1.6888e-3, so u = 0.03318.
"""

import numpy as np
import pytest

from matchvision.records.sheet import Drive, Quantity, Stage
from matchvision.records.sheet.machine import multiply_stages

STAGES = (
    Stage(kind="gear", ratio=Quantity(value=64), efficiency=Quantity(value=0.85, u=0.03)),
    Stage(kind="belt", ratio=Quantity(value=4.1, u=0.05), efficiency=Quantity(value=0.95, u=0.02)),
)


def test_relative_uncertainties_add_in_squares() -> None:
    drive = Drive(stage=STAGES)
    assert drive.gear_ratio is not None
    assert drive.drive_efficiency is not None
    assert (drive.gear_ratio.value, drive.gear_ratio.u) == pytest.approx((262.4, 3.2))
    assert (drive.drive_efficiency.value, drive.drive_efficiency.u) == pytest.approx((0.8075, 0.03318), abs=1e-5)


def test_drawn_products_scatter_as_much() -> None:
    generator = np.random.default_rng(11)
    drawn = generator.normal(0.85, 0.03, 200_000) * generator.normal(0.95, 0.02, 200_000)
    product = multiply_stages(STAGES, "efficiency")
    assert product is not None
    assert np.std(drawn) == pytest.approx(product.u, rel=0.01)  # 0.2 % by the number of draws, 0.05 % by second order


def test_a_factor_of_nothing_is_no_trouble() -> None:
    dead = Stage(kind="friction", ratio=Quantity(value=1), efficiency=Quantity(value=0, u=0.1))
    product = multiply_stages((*STAGES, dead), "efficiency")
    assert product is not None
    assert (product.value, product.u) == pytest.approx((0.0, 0.08075))
