"""Whether a machine stands on its wheels or leans, from frame to frame."""

from collections.abc import Sequence
from typing import Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.markers.consistency import Bonds, strain_of, wheel_coordinates
from matchvision.markers.leaning import Lean, LeaningPose, fit_lean
from matchvision.markers.poses import Pose, measure_pose
from matchvision.markers.predicting import MachineState
from matchvision.records.camera import Camera

#: Markers that go together no better than this share of what would be doubted may be those of a machine that leans …
STRAINED: Final = 0.5
#: … or where they go together worse by this much than when it was last found to stand.
_WORSE_BY: Final = 0.2


def find_lean(
    bonds: Bonds,
    seen: Sequence[int],
    state: MachineState,
    expected: Pose,
    place_px: FloatArray,
    place_m: FloatArray,
    camera: Camera,
    clip_s: float,
) -> tuple[Lean | None, list[int]]:
    """The tilt of a machine that leans, or did so up to now, and the markers that fit no tilt.

    None where it stands or its markers tell nothing. A machine whose markers go together as if it stood is not looked
    at further; one that leaned is asked in every frame.

    Parameters
    ----------
    seen : sequence of columns
        Its own markers and rim marks that are seen.
    place_px, place_m : (m, 2) and (m, 3) float arrays
        Of all markers.

    Notes
    -----
    A body that fits no tilt may have one marker too many: it is tried without each.
    Checked by: tests/markers/test_leaning.py::test_machine_that_rears_up_is_followed
    """
    plans = bonds.plans
    bodies, rims = ([i for i in seen if plans[i].kind == kind] for kind in ("body", "rim"))
    leaned = isinstance(expected, LeaningPose)
    strain = 0.0
    if not leaned:
        at_m = np.array([plans[i].at_m for i in bodies]).reshape(-1, 3)
        upright = measure_pose(at_m, place_m[bodies], expected, state.profile_m)
        if upright is None:
            return None, []
        strain = strain_of(bonds, bodies, rims, place_m, upright)
        if strain < max(STRAINED, state.strain + _WORSE_BY):
            return None, []
    wheels: dict[str, float] = {}
    for i in rims:
        wheel = plans[i].wheel
        if state.knows_wheel(wheel, clip_s):
            wheels[wheel] = state.wheels[wheel].at(clip_s)
        elif wheel not in wheels:
            wheels[wheel] = wheel_coordinates(plans[i], expected, place_m[i])[1]

    def fit(columns: Sequence[int]) -> Lean | None:
        return fit_lean(plans, columns, place_px, camera, expected, wheels, state.contact_m, state.profile_m)

    lean = fit(seen)
    if lean is not None and not lean.fits and leaned:
        fewer = {i: fit([k for k in seen if k != i]) for i in seen}
        told = {i: one for i, one in fewer.items() if one is not None and one.fits}
        if not told:
            return None, list(seen)
        worst = min(told, key=lambda i: told[i].misfit_px)
        return told[worst], [worst]
    if lean is None or not lean.fits:
        return None, []
    if not leaned and not lean.leans:
        state.strain = strain
        return None, []
    return lean, []
