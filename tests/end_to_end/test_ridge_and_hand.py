"""Filmed clips that are hard on geometry, from pixels to motion.

A ridge of six degrees seen by a rolling shutter, and a camera that sways by 25 mm in somebody's hand.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from importlib.resources import files
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pandas as pd
import pytest

from benchmarks.table_places import miss_places, true_cameras
from matchvision.filming import Scene, demo_scene, film, read_scene
from matchvision.filming.equipment import Sway
from matchvision.footage import read_facts
from matchvision.motion import measure_motion
from matchvision.records.motion import Motion
from matchvision.sheets import load_run
from matchvision.watching import watch

pytestmark = pytest.mark.slow

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Filmed:
    """A filmed clip as measured, its truth, and the frames of the match."""

    motion: Motion
    truth: pd.DataFrame
    during: npt.NDArray[np.bool_]
    readout_s: float
    missed_m: FloatArray
    u_missed_m: FloatArray


def ridge_scene() -> Scene:
    """Until just after the hand has left again."""
    scene = read_scene(Path(str(files("matchvision.filming") / "scenes" / "match-over-ridge.toml")))
    return replace(scene, clock=replace(scene.clock, duration_s=3.4))


def swaying_scene() -> Scene:
    scene = demo_scene(3)
    camera = replace(scene.camera, sway=Sway(move_m=0.025, turn_deg=1.0))
    return replace(scene, clock=replace(scene.clock, duration_s=4.0), camera=camera)


@pytest.fixture(scope="module", params=[ridge_scene, swaying_scene], ids=["ridge", "swaying"])
def filmed(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Filmed:
    make: Callable[[], Scene] = request.param
    scene, folder = make(), tmp_path_factory.mktemp("filmed")
    film(scene, folder)
    run = load_run(folder)
    camera = run.sheet.camera.model_copy(update={"readout_s": scene.camera.readout_s})
    run = replace(run, sheet=run.sheet.model_copy(update={"camera": camera}))
    watched = watch(run, read_facts(run.clip), None)
    motion, _ = measure_motion(run, watched.tracks, watched.cameras)
    truth = pd.read_csv(folder / "truth.csv")
    missed_m, u_m = miss_places(watched.cameras, true_cameras(folder, moves=watched.cameras.moves), run)
    return Filmed(motion, truth, motion.clip_s <= scene.end_s, scene.camera.readout_s, missed_m, u_m)


def rms(values: FloatArray) -> float:
    finite = values[np.isfinite(values)]
    assert len(finite) > 50
    return float(np.sqrt(np.mean(finite**2)))


def place_errors(filmed: Filmed, kind: str) -> tuple[FloatArray, FloatArray]:
    """Errors (n, k, 2) of x and y of the seen markers of a kind during the match, and their uncertainties."""
    places, plans = filmed.motion.places, filmed.motion.tracks.plans
    columns = [i for i, p in enumerate(plans) if p.kind == kind]
    names = [plans[i].name.replace(".", "_") for i in columns]
    x, y = (filmed.truth[[f"{n}_{axis}" for n in names]].to_numpy() for axis in "xy")
    error = np.stack([places.x_m[:, columns] - x, places.y_m[:, columns] - y], axis=-1)
    seen = (filmed.motion.tracks.state[:, columns] == 0) & filmed.during[:, None]
    u = np.stack([places.u_x_m[:, columns], places.u_y_m[:, columns]], axis=-1)
    return np.where(seen[..., None], error, np.nan), u


def test_places_of_known_height(filmed: Filmed) -> None:
    """The camera alone: points 0, 50 and 120 mm above the surface all over the table, in every frame if it moves."""
    assert rms(filmed.missed_m) < 0.0015
    assert 0.1 < rms(filmed.missed_m) / rms(filmed.u_missed_m) < 2.0
    # No frame falls out of the row.
    by_frame = np.sqrt(np.nanmean(filmed.missed_m**2, axis=1))
    assert np.max(by_frame) < 0.0025


@pytest.mark.parametrize("kind", ["body", "bead", "rim"])
def test_places(filmed: Filmed, kind: str) -> None:
    error, u = place_errors(filmed, kind)
    apart = np.hypot(error[..., 0], error[..., 1])
    assert rms(apart) < 0.0015
    assert 0.05 < rms(error / u) < 3.0
    # Nothing may be far off and claim to be sure.
    far = apart > 0.020
    assert (np.hypot(u[..., 0], u[..., 1])[far] > apart[far] / 4).all()


def test_speeds(filmed: Filmed) -> None:
    for name, machine in filmed.motion.machines.items():
        along = np.hypot(*(filmed.truth[f"{name}_{part}"].to_numpy() for part in ("vx", "vz")))
        forward = np.sign(filmed.truth[f"{name}_v_drive"].to_numpy())
        error = (machine.speed_m_s - forward * along)[filmed.during]
        assert rms(error) < 0.008
        assert 0.3 < rms(error / machine.u_speed_m_s[filmed.during]) < 3.0


def test_share_at_the_end(filmed: Filmed) -> None:
    rope = filmed.motion.rope
    assert rope is not None
    error = rope.on_plus_x_m - filmed.truth["rope_plus_x_m"].to_numpy()
    assert abs(error[np.flatnonzero(filmed.during)[-1]]) < 0.005
    assert 0.2 < rms((error / rope.u_on_plus_x_m)[filmed.during]) < 3.0


def test_slip(filmed: Filmed) -> None:
    for wheel in filmed.motion.wheels:
        error = (wheel.slip_speed_m_s - filmed.truth[f"{wheel.machine}_slip"].to_numpy())[filmed.during]
        assert rms(error) < 0.008
