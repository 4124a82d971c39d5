"""Errors of disc centres over the bound that noise sets, with and without H.264 between picture and fit.

A disc's place cannot be known better than `bound_px` says; the table holds rms error over that bound, the bias, and the
stated uncertainty over the error. Rows "coded" went through H.264 at a phone's rate, by an encoder in a hurry and by
one that takes its usual trouble: phones' encoders differ; "told" is what a fit leaves that knows all but the place,
and so what the encoder has left of it. All discs move steadily from picture to picture; in the rows
"streaks" so fast that each draws one while the shutter is open (the bound there is that of standing discs).
"""

import numpy as np
import numpy.typing as npt
import pandas as pd

from benchmarks.discs import (
    bound_px,
    choose_places,
    code_pictures,
    draw_picture,
    find_discs,
    start_refiner,
    told_errors,
)

FloatArray = npt.NDArray[np.float64]

SEED = 20
#: Pictures before those that count, while blur, likeness and what the codec adds are learnt, and pictures that count;
#: 25 discs in each.
LEARNING, COUNTED = 10, 16
#: Radius, contrast, noise and blur: the corners and middles of what phones give.
CASES = [
    (4.0, 40.0, 1.0, 1.0), (4.0, 40.0, 6.0, 1.0), (4.0, 120.0, 1.0, 1.0), (4.0, 120.0, 6.0, 1.0), (6.0, 80.0, 3.0, 1.0),
    (8.0, 80.0, 2.0, 0.7), (8.0, 80.0, 4.0, 1.5), (10.0, 100.0, 2.0, 1.0), (14.0, 40.0, 6.0, 1.0),
    (14.0, 120.0, 1.0, 1.0), (14.0, 40.0, 1.0, 0.7), (14.0, 120.0, 6.0, 1.5),
]  # fmt: skip
CODED_CASES = [
    (6.0, 80.0, 3.0, 1.0),
    (6.0, 80.0, 1.0, 1.0),
    (8.0, 100.0, 2.0, 1.0),
    (14.0, 80.0, 3.0, 1.0),
]
#: Radius, contrast, noise, blur, way while the shutter is open [px], and the share of the time for which it is.
STREAK_CASES = [(6.0, 80.0, 2.0, 1.0, 3.0, 0.5), (8.0, 80.0, 3.0, 1.0, 8.0, 0.5), (12.0, 40.0, 2.0, 1.0, 6.0, 0.25)]
#: Pictures that stand still, that move before they count, and that count.
STREAK_PICTURES = (6, 4, 6)
#: 17 Mb/s at 1080p and 30 pictures a second, what phones write by default.
CODED_BITS_A_PIXEL = 0.27
#: Presets of the encoder by the name that a row has.
ENCODERS = {"quick": "veryfast", "usual": "medium"}


def measure() -> pd.DataFrame:
    """One row a case: rms error and bias [px], bound [px], their ratio with its standard error, error over stated u."""
    rows = [measure_case(*case) for case in CASES]
    rows += [measure_streaks(*case) for case in STREAK_CASES]
    rows += [measure_case(*case, encoder=encoder) for encoder in ENCODERS for case in CODED_CASES]
    return pd.DataFrame(rows)


def measure_case(
    radius_px: float, contrast: float, noise: float, blur_px: float, encoder: str = "", counted: int = COUNTED
) -> dict[str, float | str]:
    """Draw, find and score one case; with an encoder of `ENCODERS`, the pictures are coded in between."""
    rng = np.random.default_rng(SEED)
    # As markers move: steadily, each picture a fraction of a pixel on.
    start = choose_places(radius_px, rng)
    drift = rng.uniform(-0.4, 0.4, start.shape)
    places = [start + (k - (LEARNING + counted) / 2) * drift for k in range(LEARNING + counted)]
    pictures = [draw_picture(p, radius_px, contrast, noise, blur_px, rng) for p in places]
    if encoder:
        pictures = code_pictures(pictures, CODED_BITS_A_PIXEL, ENCODERS[encoder])
    refiner = start_refiner()
    errors, stated, told = [], [], []
    for index, (place, planes) in enumerate(zip(places, pictures, strict=True)):
        found = find_discs(refiner, planes, place, radius_px, contrast, index, rng)
        if index >= LEARNING:
            errors.append(found.place_px - place)
            stated.append(found.u_px)
            if encoder:
                told.append(told_errors(planes, place, radius_px, contrast, blur_px))
    kind = f"coded, {encoder} encoder" if encoder else "drawn"
    row = score(radius_px, contrast, noise, blur_px, kind, np.concatenate(errors), np.concatenate(stated))
    return row | {"told_px": float(np.sqrt(np.mean(np.square(told)))) if told else float("nan")}


def measure_streaks(
    radius_px: float, contrast: float, noise: float, blur_px: float, way_px: float, shutter: float
) -> dict[str, float | str]:
    """Discs that stand, then all move obliquely at one speed; the truth is the place at the middle of the exposure.

    Nobody tells the fit how long the shutter is open.
    """
    rng = np.random.default_rng(SEED)
    start = choose_places(radius_px, rng)
    way = way_px * np.array([0.8, 0.6])
    still, settling, counted = STREAK_PICTURES
    beyond_px = 2 * int(np.ceil((settling + counted) * way.max() / shutter / 2))
    refiner = start_refiner()
    errors, stated = [], []
    for index in range(still + settling + counted):
        steps = max(index - still, 0)
        places = start + steps * way / shutter
        seen_way = (float(way[0]), float(way[1])) if steps else (0.0, 0.0)
        planes = draw_picture(places, radius_px, contrast, noise, blur_px, rng, seen_way, beyond_px)
        found = find_discs(refiner, planes, places, radius_px, contrast, index, rng)
        if index >= still + settling:
            errors.append(found.place_px - places)
            stated.append(found.u_px)
    kind = f"streaks of {way_px:.0f} px"
    return score(radius_px, contrast, noise, blur_px, kind, np.concatenate(errors), np.concatenate(stated))


def score(
    radius_px: float, contrast: float, noise: float, blur_px: float, kind: str, error: FloatArray, u: FloatArray
) -> dict[str, float | str]:
    """The row of one case; a disc that was not found counts in ``lost`` and nowhere else."""
    good = np.isfinite(error).all(axis=1)
    kept = error[good]
    rms = float(np.sqrt(np.mean(kept**2)))
    bound = bound_px(radius_px, contrast, noise, blur_px)
    return {
        "pictures": kind,
        "radius_px": radius_px,
        "contrast": contrast,
        "noise": noise,
        "blur_px": blur_px,
        "rms_px": rms,
        "bound_px": bound,
        "rms_over_bound": rms / bound,
        "standard_error": rms / bound / np.sqrt(2 * kept.size),
        "bias_px": float(np.abs(kept.mean(axis=0)).max()),
        "u_over_rms": float(np.sqrt(np.mean(u[good] ** 2)) / rms),
        "lost": int((~good).sum()),
    }
