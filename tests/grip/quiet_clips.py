"""Minutes of filmed footage in which nothing happens that is an event, in every way in which a run can be quiet.

Machines stand, the rope taut or slack, brakes set; one drives off so slowly that it does not count as moving; an arm is
drawn in on an anchored base; before a camera on a stand, and before one held by hand.
"""

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from matchvision.filming import Scene
from matchvision.filming.equipment import Light, Sway
from matchvision.filming.scene import Stated
from matchvision.records.events import Event
from tests.engine.extras import Extras
from tests.grip.quiet import quiet_scene
from tests.grip.stories import Story, driven, short_match

#: Small pictures at 30 frames/s, each clip so long.
SIZE_PX, RATE_PER_S, CLIP_S = (640, 360), 30.0, 75.0
#: Below 10 mm/s a machine does not move, and above 0.1 rad/s its wheels do not stall.
CREEP_M_S: Final = 0.007
#: Taut by so much more than the rope's length: some newtons on its link.
TAUT_M: Final = 0.012
BRAKE_NM: Final = 5.0
STATED_BRAKE: Final = Stated(value=40.0, u=5.0)


def quiet_clips(first_seed: int = 301, clip_s: float = CLIP_S) -> list[Story]:
    """Eight quiet stories, ten minutes in all."""
    made = [(False, make) for make in (_taut, _slack, _creeping, _anchored)]
    made += [(True, make) for make in (_taut, _slack, _creeping)]
    made.append((False, _taut))
    found = []
    for number, (by_hand, make) in enumerate(made):
        story = make(first_seed + number, clip_s)
        name = f"{story.name}, {'held by hand' if by_hand else 'on a stand'}"
        found.append(Story(name, _small(story.scene, by_hand=by_hand), story.extras))
    return found


def _small(scene: Scene, *, by_hand: bool) -> Scene:
    camera = scene.camera
    assert camera.centre_px is not None
    ratio = SIZE_PX[0] / camera.size_px[0]
    centre = (ratio * (camera.centre_px[0] + 0.5) - 0.5, ratio * (camera.centre_px[1] + 0.5) - 0.5)
    small = replace(
        camera, size_px=SIZE_PX, frames_per_s=RATE_PER_S, bitrate=1_500_000, centre_px=centre,
        f_px=(ratio * camera.f_px[0], ratio * camera.f_px[1]),
        sway=Sway(move_m=0.015, turn_deg=0.5) if by_hand else None,
    )  # fmt: skip
    return replace(scene, camera=small)


def _standing(seed: int, clip_s: float, apart_m: float) -> Scene:
    """Two machines with their drives off and hitches so much further apart than the rope is long."""
    scene = short_match(seed, clip_s)
    off = ((0.0, 0.0), (clip_s, 0.0))
    half_m = (scene.rope.length_m + apart_m) / 2
    machines = {
        name: replace(
            driven(machine, off), hitch_x_m=math.copysign(half_m, machine.hitch_x_m), brake_stated_N=STATED_BRAKE
        )
        for name, machine in scene.machine.items()
    }
    return replace(scene, machine=machines)


def _braked(scene: Scene, *but: str) -> Extras:
    until_s = scene.clock.duration_s + 1
    return Extras(brake_Nm={n: ((0.0, BRAKE_NM), (until_s, BRAKE_NM)) for n in scene.machine if n not in but})


def _taut(seed: int, clip_s: float) -> Story:
    scene = _standing(seed, clip_s, TAUT_M)
    return Story("taut", replace(scene, light=Light(flicker_ratio=0.03)), _braked(scene))


def _slack(seed: int, clip_s: float) -> Story:
    scene = _standing(seed, clip_s, -0.05)
    return Story("slack", replace(scene, light=Light(drift_ratio=0.08)), _braked(scene))


def _creeping(seed: int, clip_s: float) -> Story:
    """Heron drives off over the slack rope, by the voltage that its friction and so slow a rate take."""
    scene = _standing(seed, clip_s, -CREEP_M_S * clip_s - 0.03)
    heron = scene.machine["heron"]
    drive = heron.drive
    assert drive is not None
    stall_Nm = drive.motors * drive.stall_torque_Nm * drive.gear_ratio * drive.drive_efficiency
    free_rad_s = drive.no_load_rev_min * math.pi / 30 / drive.gear_ratio
    share = drive.drive_friction_Nm / stall_Nm + CREEP_M_S / drive.wheel_radius_m / free_rad_s
    slow = driven(heron, ((0.0, 0.0), (1.0, share), (clip_s, share)))
    assert slow.drive is not None
    slow = replace(slow, drive=replace(slow.drive, throttle_acts_on="voltage"))
    return Story("creeping", replace(scene, machine=scene.machine | {"heron": slow}), _braked(scene, "heron"))


def _anchored(seed: int, clip_s: float) -> Story:
    return Story("anchored", replace(quiet_scene(seed, clip_s), camera=short_match(seed, clip_s).camera))


def false_events(story: Story, events: Sequence[Event]) -> list[Event]:
    """Everything claimed in a quiet story but that braked machines hold a taut rope."""
    holds = story.name.startswith("taut")
    return [event for event in events if not (holds and event.kind == "held")]
