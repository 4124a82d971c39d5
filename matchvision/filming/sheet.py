"""Reads a scene sheet: TOML, strict, all faults at once."""

import difflib
import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import fields, is_dataclass
from pathlib import Path
from types import UnionType
from typing import get_args

import numpy as np
from pydantic import TypeAdapter, ValidationError
from pydantic_core import ErrorDetails

from matchvision.errors import Fault, SheetError
from matchvision.filming.ground import kinks_of, pieces_of, surface_m
from matchvision.filming.scene import Scene

READER = TypeAdapter(Scene)


def read_scene(path: Path) -> Scene:
    """Scene from a sheet.

    Parameters
    ----------
    path : Path
        A TOML file; ``matchvision/filming/scenes/`` holds a commented example.

    Returns
    -------
    Scene

    Raises
    ------
    SheetError
        The file cannot be read, is no TOML, has unknown keys or wrong values, or contradicts itself. Faults of form are
        all listed at once; faults of sense (a rope that ends nowhere, a marker of no colour) once the form is right.

    Notes
    -----
    Checked by: tests/filming/test_sheet.py::test_every_fault_is_listed
    """
    try:
        data = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        fault = Fault("file", error.strerror or str(error), "a scene sheet that can be read")
        raise SheetError(str(path), [fault], do="check the path") from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise SheetError(
            str(path), [Fault("file", str(error), "valid TOML in UTF-8")], do="mend the line named"
        ) from error
    try:
        scene = READER.validate_python(data)
    except ValidationError as error:
        faults = [_fault(detail) for detail in error.errors(include_url=False)]
        raise SheetError(str(path), faults, do="compare with the example in matchvision/filming/scenes") from error
    senseless = list(faults_of_sense(scene))
    if senseless:
        raise SheetError(str(path), senseless, do="make the entries named agree with each other")
    return scene


def _fault(detail: ErrorDetails) -> Fault:
    place = [part for part in detail["loc"] if not (isinstance(part, str) and part[:1].isupper())]
    where = ".".join(str(part) for part in place)
    if detail["type"] in ("unexpected_keyword_argument", "extra_forbidden"):
        near = difflib.get_close_matches(str(place[-1]), _known_keys(place[:-1]), n=1)
        return Fault(where, "unknown key", f"did you mean {near[0]!r}?" if near else "leave it out")
    if detail["type"] in ("missing", "missing_argument"):
        return Fault(where, "missing", "this key is needed")
    wanted = detail["msg"][:1].lower() + detail["msg"][1:]
    return Fault(where, f"found {detail['input']!r}", wanted)


def _known_keys(place: Sequence[object]) -> list[str]:
    """Keys of the table at a place in the sheet."""
    here: object = Scene
    for part in place:
        if is_dataclass(here):
            here = _plain(next((f.type for f in fields(here) if f.name == part), None))
        else:  # an index into a list, or a name in a set of tables
            here = next((item for item in map(_plain, get_args(here)) if is_dataclass(item)), None)
    return [f.name for f in fields(here)] if is_dataclass(here) else []


def _plain(kind: object) -> object:
    """The table type of ``X | None``; other types as they are."""
    if isinstance(kind, UnionType):
        return next((part for part in get_args(kind) if is_dataclass(part)), kind)
    return kind


def faults_of_sense(scene: Scene) -> Iterator[Fault]:
    """Entries that are well formed but do not agree with each other."""
    machines = set(scene.machine)
    known = " or ".join(sorted(machines))
    if scene.roped:
        yield from _faults_of_rope(scene)
    elif scene.kind in ("match", "sled", "lift", "stall"):
        yield Fault("rope", "missing", f"a {scene.kind} run needs one")
    if scene.clock.from_s > scene.clock.start_s:
        yield Fault("clock.from_s", f"{scene.clock.from_s:g} s is after the start", "begin before the start")
    yield from _faults_of_profile(scene)
    yield from _faults_of_signals(scene)
    for index, wall in enumerate(scene.wall):
        if wall.owner not in machines or any(other.owner == wall.owner for other in scene.wall[:index]):
            yield Fault(f"wall.{index}.owner", f"found {wall.owner!r}", f"{known}, at most one wall each")
    for where, colour in _colours(scene):
        if colour not in scene.colour:
            yield Fault(
                where,
                f"colour {colour!r} is not described",
                f"add [colour.{colour}] or use one of {', '.join(scene.colour)}",
            )
    for name, machine in scene.machine.items():
        labels = [d.name for d in machine.marker] + [r.name for w in machine.wheel for r in w.rim]
        for label in sorted({label for label in labels if labels.count(label) > 1}):
            yield Fault(f"machine.{name}", f"marker {label!r} is named twice", "give each marker its own name")
        if machine.drive is None and machine.anchor is None and scene.kind == "match":
            yield Fault(f"machine.{name}.drive", "missing", "both machines of a match drive, or stand on an anchor")
        if machine.drive is None and machine.wheel:
            yield Fault(f"machine.{name}.wheel", "a load without a drive has no wheels here", "leave the wheel out")
        if machine.arm is None and any(disc.on == "reach" for disc in machine.marker):
            yield Fault(f"machine.{name}.arm", "missing", "a marker rides on it")
        if machine.drive is not None:
            times = [t for t, _ in machine.drive.throttle]
            if times != sorted(times):
                yield Fault(f"machine.{name}.drive.throttle", "times do not rise", "list the points in order of time")


def _faults_of_rope(scene: Scene) -> Iterator[Fault]:
    machines = set(scene.machine)
    known = " or ".join(sorted(machines))
    if len(machines) != 2 or {m.home for m in scene.machine.values()} != {"-x", "+x"}:
        yield Fault(
            "machine", f"found {len(machines)} ({known})", "two machines, one with home -x and one with home +x"
        )
    for index, end in enumerate(scene.rope.ends):
        if end not in machines:
            yield Fault(f"rope.ends.{index}", f"{end!r} is no machine here", f"name one of {known}")
    release = scene.rope.release
    if release is not None and release.hitch not in scene.rope.ends:
        yield Fault("rope.release.hitch", f"{release.hitch!r} is not at the rope", f"name one of {known}")
    if release is not None and release.after_start_s >= scene.clock.duration_s:
        yield Fault("rope.release.after_start_s", f"{release.after_start_s:g} s", "let it go before the clock stops")
    if scene.rope.ends[0] == scene.rope.ends[1]:
        yield Fault("rope.ends", f"both are {scene.rope.ends[0]!r}", "name two machines")
    link = scene.rope.link
    if link is not None and link.from_m + link.rest_m >= scene.rope.length_m:
        yield Fault("rope.link.from_m", f"the link reaches {link.from_m + link.rest_m:g} m", "end it within the rope")
    if not scene.beads():
        yield Fault("rope.first_bead_m", "no bead fits on the rope", "set the first bead nearer")
    if (scene.rope.pulley_m is not None) != any(machine.hangs for machine in scene.machine.values()):
        yield Fault("rope.pulley_m", "a pulley and a hanging weight go together", "give both or none")
    if set(scene.rope.ends) <= machines and len(machines) == 2:
        yield from _faults_of_place(scene)


def _faults_of_place(scene: Scene) -> Iterator[Fault]:
    minus = next((name for name, m in scene.machine.items() if m.home == "-x"), None)
    plus = next((name for name, m in scene.machine.items() if m.home == "+x"), None)
    if minus is None or plus is None:
        return
    low, high = scene.machine[minus].hitch_x_m, scene.machine[plus].hitch_x_m
    if low >= high:
        yield Fault(
            f"machine.{minus}.hitch_x_m",
            f"{low:g} m is not left of {high:g} m",
            "the machine with home -x stands at -x",
        )
    elif high - low > scene.rope.length_m + 0.05:
        yield Fault(
            "rope.length_m",
            f"{scene.rope.length_m:g} m between hitches {high - low:g} m apart",
            "lengthen the rope or set the machines nearer",
        )


def _faults_of_signals(scene: Scene) -> Iterator[Fault]:
    told = scene.clock.told_by
    if (told == "sound" and scene.sound is None) or (told == "lamp" and scene.lamp is None):
        yield Fault("clock.told_by", f"{told!r}, but there is no [{told}]", f"add [{told}] or tell the start otherwise")
    if told == "lamp" and scene.camera.sway is not None:
        yield Fault("clock.told_by", "'lamp', but the camera sways", "keep the lamp's place in the picture: no sway")
    for where, at_s in (("sound.at_s", scene.start_sound_s), ("lamp.on_s", scene.lamp_on_s)):
        if at_s is not None and not scene.clock.from_s <= at_s <= scene.last_s:
            yield Fault(where, f"{at_s:g} s in a clip of {scene.last_s:g} s", "choose a time within the clip")
    for index, hand in enumerate(scene.hand):
        if hand.until_s <= hand.from_s:
            yield Fault(f"hand.{index}.until_s", f"{hand.until_s:g} s is not after {hand.from_s:g} s", "let it last")


def _faults_of_profile(scene: Scene) -> Iterator[Fault]:
    table = scene.table
    if not table.profile_m:
        return
    where, x = "table.profile_m", [point[0] for point in table.profile_m]
    half = table.length_m / 2
    if len(x) < 2 or x != sorted(set(x)):
        yield Fault(where, f"found x = {', '.join(f'{p:g}' for p in x)}", "two points or more, from -x to +x")
        return
    if x[0] > -half or x[-1] < half:
        yield Fault(where, f"goes from {x[0]:g} to {x[-1]:g} m", f"cover the table, {-half:g} to {half:g} m")
    middle = float(surface_m(table, np.zeros(1))[0])
    if abs(middle) > 1e-6:
        yield Fault(where, f"z = {middle:g} m at x = 0", "the table frame's origin lies on the surface: z = 0 there")
    eye_x, _, eye_z = scene.camera.position_m
    for index, piece in enumerate(pieces_of(table)):
        if eye_z <= piece.height_m + piece.slope * eye_x:
            yield Fault(where, f"piece {index} is seen from below", "raise the camera above every piece's plane")
    for tag in table.tag:
        reach = tag.side_m * 0.7
        if any(abs(kink - tag.centre_m[0]) < reach for kink, _ in kinks_of(table)):
            yield Fault("table.tag", f"tag {tag.id} lies over a bend of the profile", "lay tags on one slope each")


def _colours(scene: Scene) -> Iterator[tuple[str, str]]:
    for index, colour in enumerate(scene.rope.bead_colours):
        yield f"rope.bead_colours.{index}", colour
    if scene.rope.link is not None:
        yield "rope.link.colour", scene.rope.link.colour
    for name, machine in scene.machine.items():
        for disc in machine.marker:
            yield f"machine.{name}.marker {disc.name!r}", disc.colour
        for wheel in machine.wheel:
            for mark in wheel.rim:
                yield f"machine.{name}.wheel {wheel.name!r} {mark.name!r}", mark.colour
