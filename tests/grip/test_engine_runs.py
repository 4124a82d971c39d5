"""What a physics engine made happen, found from noisy points: walls that hold or give way, bodies that meet or tip."""

from dataclasses import replace

import numpy as np
import pytest

from matchvision.filming import Scene
from matchvision.filming.parts import Anchor, Wall
from matchvision.grip import find_events
from matchvision.motion import measure_motion
from matchvision.pull import measure_pull
from matchvision.records.events import Event
from matchvision.records.motion import MatchClock
from tests.engine.extras import Extras, Loose, SideLoss
from tests.engine.playing import EngineRun, play_in_engine
from tests.filmed_points import film_points
from tests.grip.stories import anchored_base, driven, short_match

pytestmark = pytest.mark.slow

OFF = ((0.0, 0.0), (9.0, 0.0))


def found_of(scene: Scene, extras: Extras, seed: int) -> tuple[EngineRun, dict[tuple[str, str], Event]]:
    """The run, and the first event of each kind and machine."""
    run = play_in_engine(scene, extras)
    filmed = film_points(scene, np.random.default_rng(seed), course=run.course)
    clock = MatchClock(scene.clock.start_s, scene.clock.duration_s)
    motion, _ = measure_motion(filmed.run, filmed.tracks, filmed.cameras)
    pull, _ = measure_pull(filmed.run, motion, clock)
    found: dict[tuple[str, str], Event] = {}
    for event in find_events(filmed.run, motion, pull, clock)[0].events:
        found.setdefault((event.kind, event.machine), event)
    return run, found


def first_s(scene: Scene, run: EngineRun, holds: np.ndarray) -> float:
    return float(run.course.clip_s[int(np.argmax(holds))] - scene.clock.start_s)


def stronger(scene: Scene) -> tuple[str, str]:
    strong, weak = sorted(scene.machine, key=lambda name: -scene.machine[name].mass_kg)
    return strong, weak


@pytest.mark.parametrize("loose", [None, Loose(0.8, 0.5)])
def test_wall_that_holds_blocks_and_one_that_gives_way_is_dislodged(loose: Loose | None) -> None:
    scene = short_match(1, 2.6)
    strong, weak = stronger(scene)
    machine = scene.machine[strong]
    way = -1 if machine.home == "-x" else 1
    at_x = machine.hitch_x_m + way * (0.145 + 0.14 + 0.02 + 0.04)
    scene = replace(scene, wall=(Wall(owner=weak, at_m=(at_x, machine.y_m), size_m=(0.04, 0.3, 0.08)),))
    run, found = found_of(scene, Extras(solid=True, loose={} if loose is None else {weak: loose}), seed=1)
    met_s = first_s(scene, run, next(iter(run.touching.values())))
    assert found["contact", strong].start_s == pytest.approx(met_s, abs=0.05)
    if loose is None:
        assert ("blocked", strong) in found
        assert ("dislodged", weak) not in found
        return
    gone = np.abs(run.walls[weak][:, 0] - run.walls[weak][0, 0])
    event = found["dislodged", weak]
    assert event.start_s == pytest.approx(first_s(scene, run, gone > 0.001), abs=0.05)
    assert event.probability > 0.99
    assert ("blocked", strong) not in found


def test_machines_that_meet() -> None:
    """Heron is let go backwards at 0.6 m/s and runs into plover, which stands: no early start, and one contact."""
    scene = short_match(3)
    machines = {
        name: driven(replace(scene.machine[name], hitch_x_m=x), OFF) for name, x in (("heron", -0.1), ("plover", 0.1))
    }
    extras = Extras(solid=True, rope=False, push_m_s={"heron": -0.6})
    run, found = found_of(replace(scene, machine=machines), extras, seed=3)
    met_s = first_s(scene, run, run.touching["heron", "plover"])
    assert found["contact", "heron"].start_s == pytest.approx(met_s, abs=0.05)
    assert found["first-motion", "heron"].start_s == pytest.approx(0.0, abs=0.03)
    assert not any(kind == "early-start" for kind, _ in found)


def test_lost_side_is_dated() -> None:
    scene = short_match(3)
    strong, weak = stronger(scene)
    _, found = found_of(scene, Extras(side_loss={strong: SideLoss("left", 1.5)}), seed=3)
    assert found["drive-loss", strong].start_s == pytest.approx(1.5, abs=0.05)
    assert ("drive-loss", weak) not in found


def test_machine_that_tips_over_backwards() -> None:
    """A high hitch and a firm opponent pull heron over its rear wheels; its box touches the table only beyond 50°."""
    scene = short_match(3)
    heron = replace(
        driven(scene.machine["heron"], ((0.0, 0.0), (0.2, 0.5), (0.8, 1.0))), hitch_m=(-0.09, 0.0, 0.20),
        centre_of_mass_m=(0.0, 0.0, 0.09), grip_ratio=1.1, size_m=(0.19, 0.234, 0.12),
    )  # fmt: skip
    machines = {"heron": heron, "plover": anchored_base(scene, Anchor(holding_N=200.0))}
    extras = Extras(solid=True, press_N={"plover": ((0.0, 120.0), (9.0, 120.0))})
    scene = replace(scene, machine=machines)
    run, found = found_of(scene, extras, seed=3)
    pitch_deg = np.degrees(run.machines["heron"].pitch_rad)
    over_deg = np.degrees(np.arctan2(0.085, 0.09))
    assert found["tipped", "heron"].start_s == pytest.approx(first_s(scene, run, pitch_deg > over_deg), abs=0.1)
    assert found["tipped", "heron"].probability > 0.9
    assert found["lifted", "heron"].start_s == pytest.approx(first_s(scene, run, pitch_deg > 3.0), abs=0.05)
    assert not {kind for kind, _ in found} & {"turned", "rope-off", "slip", "early-start"}
