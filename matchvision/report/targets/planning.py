"""What is to be printed: read off a run sheet, or chosen where there is none yet."""

from dataclasses import dataclass
from typing import Final

from matchvision.records.sheet import RunSheet, TableSheet, Tag

#: What can be printed, in the order of the pages.
KINDS: Final = ("card", "tags", "discs", "beads", "rims", "board")
#: Six colours about evenly round the circle of chroma, so that lamp and printer may turn them and they stay apart.
COLOURS: Final = {
    "red": "#d7231e",
    "yellow": "#ffc800",
    "green": "#1eaf3c",
    "cyan": "#0ab4cd",
    "blue": "#2350d7",
    "magenta": "#d21eb4",
}
#: A table as wide as it is usual, where no sheet says more.
USUAL_TABLE: Final = TableSheet(length_m=2.4, width_m=1.2)


@dataclass(frozen=True)
class TagPrint:
    """A tag to print; ``placed`` when its place on the table is known."""

    tag: Tag
    placed: bool


@dataclass(frozen=True)
class DiscPrint:
    """A flat colour disc."""

    label: str
    colour: str
    srgb: str
    radius_mm: float


@dataclass(frozen=True)
class WrapPrint:
    """A strip to wrap round a bead: ``place`` says where on the cord the bead sits."""

    label: str
    place: str
    colour: str
    srgb: str
    radius_mm: float


@dataclass(frozen=True)
class RimDot:
    """A dot on a wheel's face; the angle counts from forward through up."""

    disc: DiscPrint
    circle_mm: float
    angle_deg: float


@dataclass(frozen=True)
class RimPrint:
    """A wheel's face with its dots; ``left`` when one looks at it from the machine's left side."""

    label: str
    wheel_radius_mm: float
    left: bool
    dots: tuple[RimDot, ...]


@dataclass(frozen=True)
class TargetPlan:
    """All that may be printed for a run.

    ``missing`` tells in whole sentences what the sheet holds nothing of; ``colours`` are the names in use with their
    sRGB codes.
    """

    of: str
    table: TableSheet
    table_known: bool
    tags: tuple[TagPrint, ...]
    discs: tuple[DiscPrint, ...]
    wraps: tuple[WrapPrint, ...]
    rims: tuple[RimPrint, ...]
    missing: dict[str, str]


def plan_by_hand(
    *,
    tags: int = 4,
    first_id: int = 0,
    family: str = "36h11",
    side_mm: float = 110.0,
    disc_mm: float = 28.0,
    bead_mm: float = 18.0,
) -> TargetPlan:
    """A set to begin with, before there is a run sheet.

    Parameters
    ----------
    tags, first_id, family, side_mm
        How many tags, from which id on, of which family, and the outer side of their black borders.
    disc_mm, bead_mm
        Diameters of discs and beads.
    """
    printed = tuple(
        TagPrint(Tag.model_validate({"family": family, "id": i, "side_m": side_mm / 1000, "centre_m": (0, 0)}), False)
        for i in range(first_id, first_id + tags)
    )
    discs = tuple(DiscPrint("", n, c, disc_mm / 2) for n, c in COLOURS.items() for _ in range(2))
    pair = ("red", "cyan")
    wraps = tuple(WrapPrint(f"bead {i + 1}", "", n, COLOURS[n], bead_mm / 2) for i, n in enumerate(pair * 8))
    rims = []
    for label, left in (("a wheel on the machine's left", True), ("a wheel on the machine's right", False)):
        dots = (_dot("wheel_1", "red", 8.5, 29.0, 0.0), _dot("wheel_2", "cyan", 8.5, 29.0, 90.0))
        rims.append(RimPrint(label, 45.0, left, dots))
    return TargetPlan("", USUAL_TABLE, False, printed, discs, wraps, tuple(rims), {})


def _dot(name: str, colour: str, radius_mm: float, circle_mm: float, angle_deg: float) -> RimDot:
    return RimDot(DiscPrint(name, colour, COLOURS[colour], radius_mm), circle_mm, angle_deg)


def plan_from_sheet(sheet: RunSheet) -> TargetPlan:
    """What a run sheet names: its tags, discs, beads with the link's markers, and rim dots."""
    codes = {**COLOURS, **{name: colour.srgb for name, colour in sheet.colour.items()}}
    tags = tuple(TagPrint(tag, True) for tag in sheet.table.tag)
    discs, spheres, rims = [], 0, []
    for name, machine in sheet.machine.items():
        for marker in machine.marker:
            if marker.shape == "sphere":
                spheres += 1
                continue
            code = codes.get(marker.colour, "")
            discs.append(DiscPrint(f"{name}.{marker.name}", marker.colour, code, 1000 * marker.radius_m))
        for wheel in machine.wheel:
            if wheel.rim:
                dots = tuple(
                    RimDot(
                        DiscPrint(f"{name}.{dot.name}", dot.colour, codes.get(dot.colour, ""), 1000 * dot.radius_m),
                        1000 * dot.circle_m,
                        dot.angle_deg,
                    )
                    for dot in wheel.rim
                )
                label = f"{name}, {wheel.name}"
                rims.append(RimPrint(label, 1000 * wheel.radius_m, wheel.face_m[1] > 0, dots))
    wraps = _wraps_of(sheet, codes)
    missing = {
        kind: text
        for kind, things, text in (
            ("tags", tags, "The sheet lists no tags, so none are printed."),
            ("discs", discs, "The sheet gives the machines no flat discs, so none are printed."),
            ("beads", wraps, "The sheet puts no beads on the rope, so no wraps are printed."),
            ("rims", rims, "The sheet gives no wheel rim marks, so no rim dots are printed."),
        )
        if not things
    }
    if spheres and "discs" not in missing:
        missing["spheres"] = f"{spheres} of the machines' markers are spheres, which paper cannot give: paint balls."
    return TargetPlan(sheet.run.name, sheet.table, True, tags, tuple(discs), wraps, tuple(rims), missing)


def _wraps_of(sheet: RunSheet, codes: dict[str, str]) -> tuple[WrapPrint, ...]:
    rope = sheet.rope
    if rope is None:
        return ()
    radius_mm = 1000 * rope.bead_radius_m
    wraps = [
        WrapPrint(
            bead.name,
            f"{1000 * bead.at_m:.0f} mm from {rope.ends[0]}",
            bead.colour,
            codes.get(bead.colour, ""),
            radius_mm,
        )
        for bead in rope.beads
    ]
    if rope.link is not None:
        for side, marker in zip(("before", "behind"), rope.link.markers, strict=True):
            place = f"just {side} the link"
            wraps.append(WrapPrint(marker.name, place, marker.colour, codes.get(marker.colour, ""), radius_mm))
    return tuple(wraps)
