"""A lens in plain numbers."""

from typing import TYPE_CHECKING, Any

from matchvision.records.camera import CAMERA_PARAMETERS

if TYPE_CHECKING:
    from matchvision.table.lens import LensFit
    from matchvision.table.skew import SkewFit


def brief_lens(fit: "LensFit", skew: "SkewFit", stills: int) -> dict[str, Any]:
    """The lens with its standard uncertainties, how well it fits, and what was left out.

    ``shift_in_u`` is how far leaving out moved each number of the lens, over its uncertainty.
    """
    camera = fit.sheet.camera
    names = CAMERA_PARAMETERS[: len(fit.shift)]
    numbers: dict[str, float] = {}
    for at, name in enumerate(names):
        numbers[name] = float(camera.parameters[at])
        numbers[f"u_{name}"] = float(camera.covariance[at, at] ** 0.5)
    return {
        "stills": stills,
        "views": fit.sheet.views,
        "width_px": camera.width_px,
        "height_px": camera.height_px,
        "rms_px": fit.sheet.rms_px,
        "lens": numbers,
        "skew_px": skew.skew_px,
        "u_skew_px": skew.u_skew_px,
        "rms_by_still_px": dict(fit.rms_px),
        "left_out": list(fit.left_out),
        "shift_in_u": dict(zip(names, fit.shift_in_u.tolist(), strict=True)),
        "warnings": [skew.warning] if skew.warning else [],
    }
