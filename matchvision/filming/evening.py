"""Several runs in one clip: whether they fit together, and when each of them takes place."""

from collections.abc import Sequence
from dataclasses import replace

from matchvision.errors import Fault, SheetError
from matchvision.filming.scene import Scene


def check_evening(scenes: Sequence[Scene]) -> None:
    """Raise SheetError where scenes cannot be one evening's."""
    faults = []
    if not scenes:
        faults.append(Fault("scenes", "none", "give at least one"))
    names = [scene.name for scene in scenes]
    twice = sorted({name for name in names if names.count(name) > 1})
    faults += [Fault("name", f"{name!r} is used twice", "give each run a name of its own") for name in twice]
    for scene in scenes:
        if replace(scene.camera, bump=None) != replace(scenes[0].camera, bump=None):
            faults.append(Fault(f"{scene.name}: camera", "differs from the first run's", "change its bump alone"))
        if scene.camera.sway is not None:
            faults.append(Fault(f"{scene.name}: camera.sway", "held by hand", "an evening is filmed from a stand"))
        if scene.clock.from_s:
            faults.append(Fault(f"{scene.name}: clock.from_s", f"{scene.clock.from_s:g} s", "leave it out: 0"))
    if faults:
        raise SheetError("evening", faults, do="make the scenes fit into one clip")


def one_after_the_other(scenes: Sequence[Scene], pause: int) -> list[Scene]:
    """Scenes with their times moved so that each follows the one before after ``pause`` pictures."""
    moved, first = [], 0
    for scene in scenes:
        moved.append(later(scene, first / scene.camera.frames_per_s))
        first += scene.frames + pause
    return moved


def later(scene: Scene, by_s: float) -> Scene:
    """A scene in which everything takes place later by so much."""
    clock = replace(scene.clock, start_s=scene.clock.start_s + by_s, from_s=scene.clock.from_s + by_s)
    sound, lamp = scene.sound, scene.lamp
    if sound is not None and sound.at_s is not None:
        sound = replace(sound, at_s=sound.at_s + by_s)
    if lamp is not None and lamp.on_s is not None:
        lamp = replace(lamp, on_s=lamp.on_s + by_s)
    hands = tuple(replace(hand, from_s=hand.from_s + by_s, until_s=hand.until_s + by_s) for hand in scene.hand)
    return replace(scene, clock=clock, sound=sound, lamp=lamp, hand=hands)
