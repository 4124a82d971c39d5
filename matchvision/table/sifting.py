"""Leave out what alone spoils the fit, and name what looks wrong."""

from dataclasses import replace

import numpy as np

from matchvision.table.fitting import CameraFit, LensPrior, fit_cameras
from matchvision.table.looking import Seen
from matchvision.table.noise import Sighting, keep_points
from matchvision.table.suspecting import Suspect, contradict, find_suspects, tell_suspect

#: Tags, or points, that must be left for one to be left out: fewer cannot tell who is wrong.
_TAGS_TO_CHOOSE, _POINTS_TO_CHOOSE = 3, 6
#: What is left out must bring the misfit down to this share, and be off by more than this [px].
_CLEARED, _SPOILT_PX = 0.5, 0.2
#: Chi-squared by which leaving out the next suspect must be worse.
_BEYOND_DOUBT = 14.0
#: Of tags and clicks no more are left out than this.
_AT_MOST = 2


def leave_out_stray(seen: Seen, fit: CameraFit, prior: LensPrior, u_height_m: float) -> tuple[Seen, CameraFit]:
    """The same without a tag or click that alone spoils an otherwise clean fit, if there is one."""
    for _ in range(_AT_MOST):
        better = _without_worst(seen, fit, prior, u_height_m)
        if better is None:
            break
        seen, fit = better
    return seen, fit


def _without_worst(seen: Seen, fit: CameraFit, prior: LensPrior, u_height_m: float) -> tuple[Seen, CameraFit] | None:
    sighting = seen.sightings[0]
    before = _misfit(fit, sighting)
    if before < _SPOILT_PX / float(np.max(sighting.u_px)):
        return None
    tried = []
    for suspect in find_suspects(sighting, fit, prior, seen.tags, seen.clicks, seen.outline)[:4]:
        rows = _rows(suspect, len(seen.tags))
        kept = np.ones(len(sighting.points_m), dtype=bool)
        kept[rows] = False
        tags_left = len(seen.tags) - (suspect.unit < len(seen.tags))
        if tags_left < _TAGS_TO_CHOOSE and int(np.sum(kept)) - 4 * tags_left + 2 * tags_left < _POINTS_TO_CHOOSE:
            continue
        others = keep_points(sighting, kept)
        tried.append((suspect, others, fit_cameras([others], fit.parameters, prior, u_height_m, seen.outline)))
    if not tried:
        return None
    tried.sort(key=lambda t: _misfit(t[2], t[1]))
    suspect, others, without = tried[0]
    if _misfit(without, others) > _CLEARED * before:
        return None
    # Who is wrong must be beyond doubt: leaving out the right one would bring all places off, and hide it.
    squares = [others.u_px.size * 2 * _misfit(fitted, others) ** 2 for _, others, fitted in tried]
    if len(squares) > 1 and squares[1] - squares[0] < _BEYOND_DOUBT:
        return None
    unit = suspect.unit
    tags = tuple(tag for k, tag in enumerate(seen.tags) if k != unit)
    clicks = tuple(click for k, click in enumerate(seen.clicks) if k + len(seen.tags) != unit)
    warning = f"{tell_suspect(suspect)}. It was left out."
    against = (*seen.contradictions, *contradict(suspect, warning.rstrip(".")))
    warnings = (*seen.warnings, warning)
    left = replace(seen, sightings=(others,), tags=tags, clicks=clicks, warnings=warnings, contradictions=against)
    return left, without


def warn_of_suspects(seen: Seen, fit: CameraFit, prior: LensPrior) -> tuple[Seen, CameraFit]:
    """The same with a warning for what does not fit but could not be left out, and with what it may have done.

    Every suspect that may be the culprit adds to the covariance what it would have drawn the cameras off.
    """
    sighting = seen.sightings[0]
    one = fit if len(seen.sightings) == 1 else fit_cameras([sighting], fit.parameters[:1], prior)
    suspects = find_suspects(sighting, one, prior, seen.tags, seen.clicks, seen.outline)
    if not suspects:
        return seen, fit
    likely = [s for s in suspects if s.score > 0.7 * suspects[0].score]
    # Of several that may be the culprit, one that is too small to be placed needs no fault in the sheet to explain it.
    likely.sort(key=lambda s: not np.isfinite(s.short_side_px))
    doubt = f" (or the fault lies with {', '.join(s.name for s in likely[1:])})" if likely[1:] else ""
    warning = f"{tell_suspect(likely[0])}{doubt}. It was used all the same, and the uncertainty raised."
    drawn = np.sum([np.outer(s.pull, s.pull) for s in likely], axis=0)
    against = (*seen.contradictions, *contradict(likely[0], warning.rstrip(".")))
    seen = replace(seen, warnings=(*seen.warnings, warning), contradictions=against)
    return seen, replace(fit, covariance=fit.covariance + drawn)


def _rows(suspect: Suspect, tags: int) -> slice:
    if suspect.unit < tags:
        return slice(4 * suspect.unit, 4 * suspect.unit + 4)
    return slice(3 * tags + suspect.unit, 3 * tags + suspect.unit + 1)


def _misfit(fit: CameraFit, sighting: Sighting) -> float:
    """Root mean square of the residuals over what was expected of them."""
    return float(np.sqrt(np.mean((fit.residuals[0] / sighting.u_px[:, None]) ** 2)))
