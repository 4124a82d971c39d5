"""Which tag or click is not where the sheet says: every possible fault tried against what the fit leaves.

A large residual is a poor witness: the fit bends towards the fault, and points at the rim hide theirs. So each fault is
tried as one more unknown, and judged by how much of the misfit it would explain and how well the view could show it.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.geometry.camera import project_points
from matchvision.geometry.placing import direction_jacobian
from matchvision.records.results import Contradiction
from matchvision.table.fitting import CameraFit, LensPrior, whiten_misfit
from matchvision.table.noise import Sighting
from matchvision.table.outline import Outline
from matchvision.table.tags import LARGER_TAGS, TagName, short_side_px

#: Chi-squared, of one and of two degrees of freedom, that a sound tag or click passes once in a thousand times.
_CHANCE = {1: 10.83, 2: 13.82}
#: A lift explains as much as a shift along the table when it falls short by no more than this.
_AS_GOOD = 6.0
#: Place of the bleed among the fit's unknowns: lens, bleed, pose.
_BLEED = 9


@dataclass(frozen=True, eq=False)
class Suspect:
    """A tag or click that seems to be elsewhere than the sheet says.

    Attributes
    ----------
    unit : int
        Number of the tag, or number of tags + number of the click.
    name : str
    kind : "shift", "lift", "size"
    shift_m : (float, float)
        How far it seems to lie off along x and y.
    lift_m : float
        How far above its stated height it would stand if that were the fault.
    size_ratio : float
        Seen size over stated size.
    u : float
        Standard uncertainty of what ``kind`` names [m, or a ratio].
    score : float
        Misfit explained, as chi-squared over what chance may bring once in a thousand times.
    pull : (15,) float array
        How far the fault, if it is one, has drawn the camera's parameters off.
    short_side_px : float
        Length of a tag's sides in the picture where they are too short for it to be placed; else infinity.
    """

    unit: int
    name: str
    kind: str
    shift_m: tuple[float, float]
    lift_m: float
    size_ratio: float
    u: float
    score: float
    pull: FloatArray
    short_side_px: float = float("inf")


def find_suspects(
    sighting: Sighting,
    fit: CameraFit,
    prior: LensPrior,
    tags: Sequence[TagName],
    clicks: Sequence[str],
    outline: Outline | None = None,
) -> tuple[Suspect, ...]:
    """Tags and clicks that fit badly, the worst first.

    Notes
    -----
    With ρ the whitened misfit, J its design, M = I − J(JᵀJ)⁻¹Jᵀ and B what a fault would do to it, the fault's size is
    b = (BᵀMB)⁻¹BᵀMρ with covariance (BᵀMB)⁻¹, and bᵀ(BᵀMB)b is the misfit explained: W. Baarda, "A testing procedure
    for use in geodetic networks" (1968; from memory). Noise is taken as expected, not as
    learnt, for a fault swells that.
    Checked by: tests/table/test_faults.py::test_sound_views_name_nobody
    """
    misfit, design, whitening = whiten_misfit(sighting, fit, prior, outline)
    orthogonal, triangle = np.linalg.qr(design)
    camera = fit.parameters[0]
    count = len(tags)
    suspects = []
    for unit, name in enumerate([*(f"tag {tag[1]}" for tag in tags), *(f"point {click!r}" for click in clicks)]):
        rows = slice(4 * unit, 4 * unit + 4) if unit < count else slice(3 * count + unit, 3 * count + unit + 1)
        axes = np.eye(3)
        moves = [_effect(sighting, camera, rows, np.broadcast_to(axis, (rows.stop - rows.start, 3))) for axis in axes]
        tried = {"shift": np.stack(moves[:2], axis=-1), "lift": moves[2][:, None]}
        if unit < count:
            corners = sighting.points_m[rows]
            tried["size"] = _effect(sighting, camera, rows, corners - corners.mean(axis=0))[:, None]
        answers: dict[str, tuple[FloatArray, float, float]] = {}
        pulls: dict[str, FloatArray] = {}
        for kind, effect in tried.items():
            white = np.zeros((len(misfit), effect.shape[1]))
            white[: len(whitening)] = whitening @ effect
            seen = white - orthogonal @ (orthogonal.T @ white)
            information = seen.T @ seen
            if float(np.linalg.cond(information)) > 1e9 or float(np.min(np.diag(information))) < 1e-6:
                continue
            found = np.asarray(np.linalg.solve(information, seen.T @ misfit), dtype=np.float64)
            u = float(np.sqrt(np.max(np.linalg.eigvalsh(np.linalg.inv(information)))))
            # Misfit falls by design · step, so a fault in it draws the fit the other way.
            drawn = np.linalg.solve(triangle, orthogonal.T @ (white @ found))
            pulls[kind] = np.delete(np.asarray(drawn, dtype=np.float64), _BLEED)
            answers[kind] = (found, u, float(found @ information @ found))
        if "shift" not in answers:
            continue
        shift, _, explained = answers["shift"]
        lift = answers.get("lift", (np.zeros(1), 0.0, 0.0))
        size = answers.get("size", (np.zeros(1), 0.0, 0.0))
        kind, u, score = "shift", answers["shift"][1], explained / _CHANCE[2]
        if lift[2] > explained - _AS_GOOD and lift[0][0] > 0 and unit < count:
            kind, u, score = "lift", lift[1], lift[2] / _CHANCE[1]
        if size[2] > max(explained, lift[2]) + _AS_GOOD:
            kind, u, score = "size", size[1], size[2] / _CHANCE[1]
        moved = (float(shift[0]), float(shift[1]))
        corners = project_points(camera, sighting.points_m[rows])
        short_px = short_side_px(tags[unit], corners) if unit < count else float("inf")
        suspects.append(
            Suspect(unit, name, kind, moved, float(lift[0][0]), 1 + float(size[0][0]), u, score, pulls[kind], short_px)
        )
    return tuple(sorted((s for s in suspects if s.score > 1), key=lambda s: -s.score))


def _effect(sighting: Sighting, camera: FloatArray, rows: slice, direction: FloatArray) -> FloatArray:
    """What moving some points along directions does to all misfits (2p,), by a metre or by the whole."""
    moved = np.zeros((len(sighting.points_m), 2))
    # Steps are scaled to directions of any length, such as corners that grow from a tag's middle.
    moved[rows] = direction_jacobian(camera, sighting.points_m[rows], direction)
    return np.asarray(np.nan_to_num(np.einsum("pij,pj->pi", sighting.directions, moved)).ravel(), dtype=np.float64)


def contradict(suspect: Suspect, told: str) -> tuple[Contradiction, ...]:
    """The same against the sheet, ``told`` being what is said of it; nothing of one that is too small to be placed."""
    if np.isfinite(suspect.short_side_px):
        return ()
    tag = suspect.name.startswith("tag ")
    which = (
        f"[[table.tag]] id = {suspect.name.removeprefix('tag ')}"
        if tag
        else f"[[table.point]] {suspect.name.removeprefix('point ')}"
    )
    key = "side_m" if suspect.kind == "size" else "centre_m" if tag else "at_m"
    return (Contradiction(f"{which}: {key}", told, f"measure {key} again, and see that it lies flat", covered=True),)


def tell_suspect(suspect: Suspect) -> str:
    """A suspect in words, without its consequence."""
    name = suspect.name[0].upper() + suspect.name[1:]
    off_mm = 1e3 * float(np.hypot(*suspect.shift_m))
    if np.isfinite(suspect.short_side_px):
        return (
            f"{name} does not fit the others, but its sides are only {suspect.short_side_px:.0f} px long in the "
            f"picture: too short to say where it lies; {LARGER_TAGS}"
        )
    if suspect.kind == "size":
        percent = 100 * (suspect.size_ratio - 1)
        word = "larger" if percent > 0 else "smaller"
        return (
            f"{name} looks {abs(percent):.1f} ± {100 * suspect.u:.1f} % {word} than its side_m says: "
            "measure the printed black square with a ruler"
        )
    if suspect.kind == "lift":
        return (
            f"{name} looks as if it stood {1e3 * suspect.lift_m:.0f} ± {1e3 * suspect.u:.0f} mm above its stated "
            f"height (or lay {off_mm:.0f} mm off along the table): see that it lies flat on the surface, and measure "
            "its place again"
        )
    x_mm, y_mm = 1e3 * suspect.shift_m[0], 1e3 * suspect.shift_m[1]
    return (
        f"{name} seems to lie {off_mm:.0f} mm from where the sheet puts it ({x_mm:+.0f} mm in x, {y_mm:+.0f} mm in y)"
    )
