"""Least squares of tilted machines against differences of their places in the picture."""

import numpy as np
import pytest

from matchvision.geometry.camera import project_points
from matchvision.motion.machines import Contact
from matchvision.motion.rigid import Body, linearise
from matchvision.motion.surface import Ground

CAMERA = np.array(
    [985.0, 987.0, 644.8, 355.8, -0.045, 0.012, 4e-4, -3e-4, 0.003, 2.2787, -0.1107, 0.0362, -0.02, -0.01, 2.24]
)
LEVEL = Ground(*(np.zeros(0) for _ in range(4)))
#: A slope that grows steadily, so that differences along it are as good as derivatives.
PATH_M = np.linspace(-2, 2, 4001)
SLOPE = Ground(PATH_M, PATH_M, 0.05 * PATH_M**2, np.arctan(0.1 * PATH_M))


@pytest.mark.parametrize("ground", [LEVEL, SLOPE])
@pytest.mark.parametrize("each", [False, True])
def test_derivatives_are_those_of_the_places(ground: Ground, each: bool) -> None:
    rng = np.random.default_rng(1)
    body = Body(
        at_m=rng.uniform([-0.1, -0.1, 0.0], [0.1, 0.1, 0.2], (5, 3)),
        circle_m=np.array([0.0, 0.0, 0.03, 0.03, 0.02]),
        place_rad=np.array([0.0, 0.0, 0.3, 2.0, -1.0]),
        wheel=np.array([-1, -1, 0, 0, 1]),
        contact=Contact(0.08, 0.06),
        ground=ground,
    )
    state = rng.uniform(-0.4, 0.4, (6, 7)) + np.array([0, 0, 3.0, 0, 0, 2.0, -1.0])
    cameras = CAMERA + (rng.normal(0, 1e-3, (6, 15)) if each else np.zeros((1, 15)))
    pixels = project_points(cameras[:, None], body.places(state))
    shown = pixels + rng.normal(size=pixels.shape)
    seen = rng.random((6, 5)) < 0.8
    u = rng.uniform(0.1, 0.3, pixels.shape)
    found = linearise(body, state, cameras, shown, u, seen)
    assert found.off == pytest.approx(np.where(seen[..., None], shown - pixels, 0.0), abs=1e-9)
    for i in range(7):
        step = 1e-5 * np.eye(7)[i]
        ahead, behind = (project_points(cameras[:, None], body.places(state + one)) for one in (step, -step))
        expected = np.where(seen[..., None], (ahead - behind) / 2e-5, 0.0)
        assert found.design[..., i] == pytest.approx(expected, rel=1e-5, abs=1e-3)
    weighted = found.design / u[..., None] ** 2
    assert found.normal == pytest.approx(np.einsum("nkai,nkaj->nij", weighted, found.design), rel=1e-9)
    assert found.right == pytest.approx(np.einsum("nkai,nka->ni", weighted, found.off), rel=1e-9)
