"""Markers that the sheet does not name, declared by a click: what the picture says of them, and what is then kept."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.desk.asking import Declare
from matchvision.desk.clipbook import ClipBook
from matchvision.desk.colouring import find_neutral, learn_patch, measure_patch
from matchvision.desk.following import Sight, camera_at, look_for
from matchvision.errors import MarkerError
from matchvision.geometry.camera import place_at_height, project_points
from matchvision.markers import chroma_of, expect_palette, outline_table
from matchvision.records.camera import Camera
from matchvision.records.frames import ClipFacts
from matchvision.records.sheet import Colour, Machine, RopeSheet, Run, RunSheet
from matchvision.sheets import Draft

#: How high a machine's top is taken to be where no marker on it says [m].
USUAL_HEIGHT_M: Final = 0.10
#: A spot so near to the line of the rope's beads is taken to be one of them [m].
_BESIDE_ROPE_M: Final = 0.025
#: A known colour whose chroma points within so much of the click's is taken to be it [deg].
_SAME_HUE_DEG: Final = 15.0


def propose_marker(book: ClipBook, run: Run, number: int, pixel: tuple[float, float]) -> dict[str, Any]:
    """What the picture says of a marker at a pixel: colour, size, whose it may be and where on it.

    All of it is a beginning for a person to correct: heights are not seen, they are those of the machine's other
    markers, or a usual one.

    Raises
    ------
    TableError, MarkerError
    """
    frame, sheet = book.frame(number), run.sheet
    camera = camera_at(book, run, frame)
    neutral = find_neutral(frame, outline_table(camera, sheet.table))
    srgb = learn_patch(frame, pixel, book.facts, neutral)
    middle, radius_px = measure_patch(frame, pixel, neutral)
    sight = look_for(book, run, number)
    discs = {}
    for name, machine in sheet.machine.items():
        height_m = _height_on(machine)
        x_m, y_m = _on_machine(machine, name, camera, middle, height_m, sight)
        radius_m = _radius_m(camera, middle, radius_px, height_m)
        discs[name] = {
            "name": _free_name(machine, x_m), "height_m": height_m, "radius_m": radius_m, "at_m": [x_m, y_m]
        }  # fmt: skip
    bead_height_m = float(np.mean([m.hitch.at_m[2] for m in sheet.machine.values() if m.hitch] or [0.05]))
    return {
        "pixel": middle.tolist(),
        "srgb": srgb,
        "colour": _nearest_colour(srgb, sheet.colour, book.facts),
        "machine": _machine_at(sheet, camera, middle),
        "discs": discs,
        "bead": None if sheet.rope is None else _on_rope(sheet.rope, camera, middle, sight, bead_height_m),
    }


def declare_marker(draft: Draft, asked: Declare, srgb: str) -> dict[str, Any]:
    """What is laid over the sheet for a new marker; a colour that no sheet describes comes with it.

    Raises
    ------
    MarkerError
        Where the name is taken, or nothing of the sheet can wear it.
    """
    sheet = draft.run.sheet
    changes: dict[str, Any] = {}
    if asked.kind == "bead":
        rope = sheet.rope
        if rope is None:
            raise MarkerError("the sheet describes no rope", do="describe it in [rope]")
        beads = [bead.model_dump(mode="json") for bead in rope.beads]
        _refuse_taken(asked.name, [str(bead["name"]) for bead in beads])
        beads.append({"name": asked.name, "at_m": asked.along_m, "colour": asked.colour})
        changes["rope"] = {"beads": sorted(beads, key=lambda bead: float(bead["at_m"]))}
    else:
        machine = sheet.machine.get(asked.machine)
        if machine is None:
            raise MarkerError(f'the sheet has no machine "{asked.machine}"', do="choose one of those that it has")
        discs = [disc.model_dump(mode="json", exclude_defaults=True) for disc in machine.marker]
        _refuse_taken(asked.name, [str(disc["name"]) for disc in discs])
        at_m = [*asked.at_m, asked.height_m]
        discs.append({"name": asked.name, "colour": asked.colour, "radius_m": asked.radius_m, "at_m": at_m})
        changes["machine"] = {asked.machine: {"marker": discs}}
    if asked.colour not in sheet.colour or asked.colour in draft.unknown_colours:
        changes["colour"] = {asked.colour: {"srgb": srgb, "samples": None}}
    return changes


def withdraw_marker(draft: Draft, name: str) -> dict[str, Any]:
    """What is laid over the sheet once a marker that was declared at the desk is taken back.

    Raises
    ------
    MarkerError
        Where the sheet itself names it.
    """
    declared = declared_markers(draft)
    if name not in declared:
        raise MarkerError(f"{name} stands in the sheet itself", do="change the sheet where it shall go")
    machine, _, own = name.rpartition(".")
    listed = draft.kept["machine"][machine]["marker"] if machine else draft.kept["rope"]["beads"]
    rest = [marker for marker in listed if marker["name"] != own]
    others = any(f"{machine}.{marker['name']}".lstrip(".") in declared for marker in rest)
    # The sheet's own list counts again once nothing is left beside it.
    kept = rest if others else None
    return {"machine": {machine: {"marker": kept}}} if machine else {"rope": {"beads": kept}}


def declared_markers(draft: Draft) -> tuple[str, ...]:
    """Names of the markers that were declared at the desk."""
    own: set[str] = set()
    if "rope" in draft.own:
        own |= {bead.name for bead in RopeSheet.model_validate(draft.own["rope"]).beads}
    for name, machine in draft.own.get("machine", {}).items():
        own |= {f"{name}.{marker['name']}" for marker in machine.get("marker", ())}
    listed = [str(bead["name"]) for bead in draft.kept.get("rope", {}).get("beads", ())]
    for name, machine in draft.kept.get("machine", {}).items():
        listed += [f"{name}.{marker['name']}" for marker in machine.get("marker", ())]
    return tuple(name for name in listed if name not in own)


def _refuse_taken(name: str, taken: Sequence[str]) -> None:
    if name in taken:
        raise MarkerError(f"there is a marker {name} already", do="choose another name")


def _nearest_colour(srgb: str, colours: Mapping[str, Colour], facts: ClipFacts) -> str | None:
    """The known colour whose hue in the clip is that of a patch; None where none is near."""
    clip = (facts.matrix, facts.full_range, facts.transfer)
    seen = chroma_of(srgb, *clip)
    palette = expect_palette(colours, *clip)
    if not palette.names:
        return None
    cosines = palette.direction @ seen / max(float(np.linalg.norm(seen)), 1e-9)
    best = int(np.argmax(cosines))
    return palette.names[best] if cosines[best] > np.cos(np.deg2rad(_SAME_HUE_DEG)) else None


def _machine_at(sheet: RunSheet, camera: Camera, pixel: FloatArray) -> str | None:
    """The machine on whose side of the centre line a pixel lies: each starts on the side of its home."""
    x_m = float(place_at_height(camera.parameters, pixel, USUAL_HEIGHT_M)[0])
    side = "-x" if x_m < 0 else "+x"
    return next((name for name, machine in sheet.machine.items() if machine.home == side), None)


def _height_on(machine: Machine) -> float:
    """How high a machine's markers lie, where one of them says."""
    heights = [marker.at_m[2] for marker in machine.marker]
    return float(np.median(heights)) if heights else machine.size_m[2] if machine.size_m else USUAL_HEIGHT_M


def _radius_m(camera: Camera, pixel: FloatArray, radius_px: float, height_m: float) -> float:
    """A disc's radius from its longer half axis in the picture, which no slant shortens."""
    place = place_at_height(camera.parameters, pixel, height_m)
    ways = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]]) * 1e-3
    moved = (project_points(camera.parameters, place + ways) - project_points(camera.parameters, place - ways)) / 2e-3
    px_per_m = float(np.linalg.svd(moved, compute_uv=False)[0])
    return radius_px / px_per_m


def _on_machine(
    machine: Machine, name: str, camera: Camera, pixel: FloatArray, height_m: float, found: Sight
) -> tuple[float, float]:
    """Place of a disc in its machine's frame (x, y) [m].

    By the machine's pose where two of its markers show it. Where one does, the line from it to the new one is taken to
    be the machine's own axis, along which it stands towards its home; the very first disc is the frame's origin.
    """
    here = np.asarray(place_at_height(camera.parameters, pixel, height_m)[:2], dtype=np.float64)
    own = {marker.name: marker for marker in machine.marker}
    seen = [key for key in own if f"{name}.{key}" in found.places]
    if len(seen) >= 2 and name in found.poses:
        pose = found.poses[name]
        cosine, sine = np.cos(pose.heading_rad), np.sin(pose.heading_rad)
        off = here - [pose.x_m, pose.y_m]
        return float(cosine * off[0] + sine * off[1]), float(cosine * off[1] - sine * off[0])
    if not seen:
        return 0.0, 0.0
    first = own[seen[0]]
    off = here - found.places[f"{name}.{seen[0]}"]
    towards_home = -1.0 if machine.home == "-x" else 1.0
    along = float(np.copysign(np.linalg.norm(off), towards_home * off[0]))
    return first.at_m[0] + along, first.at_m[1]


def _free_name(machine: Machine, x_m: float) -> str:
    taken = {marker.name for marker in machine.marker}
    usual = ["front", "rear"] if x_m >= 0 else ["rear", "front"]
    return next(name for name in (*usual, *(f"disc_{k}" for k in range(1, 100))) if name not in taken)


def _on_rope(rope: RopeSheet, camera: Camera, pixel: FloatArray, found: Sight, height_m: float) -> dict[str, Any]:
    """A bead's name and, between or beside two beads that are found, how far along the rope it sits [m]."""
    taken = {bead.name for bead in rope.beads}
    name = next(n for n in (f"bead_{k:02d}" for k in range(1, 200)) if n not in taken)
    here = np.asarray(place_at_height(camera.parameters, pixel, height_m)[:2], dtype=np.float64)
    near = sorted(
        (float(np.linalg.norm(here - found.places[bead.name])), bead.at_m, bead.name)
        for bead in rope.beads
        if bead.name in found.places
    )[:2]
    along_m, on_it = None, False
    if len(near) == 2:
        (_, first_m, first), (_, second_m, second) = near
        way = found.places[second] - found.places[first]
        share = float((here - found.places[first]) @ way / max(float(way @ way), 1e-12))
        along_m = float(np.clip(first_m + share * (second_m - first_m), 0.0, rope.length_m))
        aside_m = float(np.linalg.norm(here - found.places[first] - share * way))
        on_it = aside_m < _BESIDE_ROPE_M and abs(share - 0.5) < 1.5
    return {"name": name, "along_m": along_m, "likely": on_it}
