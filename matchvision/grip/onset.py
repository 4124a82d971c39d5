"""When something that stood began to move: from its unsmoothed course, whatever law its first millimetres follow."""

from typing import Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.grip.intervals import typical_step_s
from matchvision.records.motion import MachineMotion, Motion

#: What gathers speed does so within this time before the bend that it makes.
GATHERS_S: Final = 0.3
#: Its first way out is as long as this: a coder shows the first tenths of a millimetre late, so they do not decide.
EARLY_M: Final = 0.005
#: A coder leaves what stood as it was until it has moved by about so much [px].
UNSEEN_PX: Final = 0.2
#: Plays that are tried: middles of so many equal parts of what may stay unseen.
PLAYS: Final = 6
#: Places nearer to the one before than by this part of that are repeats of it: a fiftieth of a pixel or so, which no
#: camera's own noise leaves.
REPEATS_RATIO: Final = 0.05
#: Ways out of rest: the power of time with which they begin, and how long until their speed is steady [s].
LAWS: Final = ((1, 0.0), *((p, s) for p in (2, 3) for s in (0.03, 0.06, 0.12, 0.25, np.inf)))
POWERS: Final = tuple(power for power, _ in LAWS)
#: A way may gather speed anew so long after its beginning, as what creeps before it lets go [s]; never, or then.
ANEW_S: Final = (0.03, 0.06, 0.10, 0.15, 0.20, 0.25)
#: Turns of a fit in which what shows and its size settle each other.
FIT_TURNS: Final = 5
#: Fewer places than this tell no law.
LEAST_PLACES: Final = 8


def base_course(motion: Motion, moved: MachineMotion) -> FloatArray:
    """A machine's place along x frame by frame (n,), not smoothed: the mean of its seen markers, each from its median.

    Raw places, since a test for small motions must know the noise from frame to frame.
    """
    columns = [
        k
        for k, p in enumerate(motion.tracks.plans)
        if p.kind == "body" and p.machine == moved.machine and not p.on_reach
    ]
    apart = motion.places.x_m[:, columns] - moved.x_m[:, None]
    shown = np.isfinite(apart).any(axis=0)
    if not shown.any():
        return np.asarray(moved.x_m, dtype=np.float64)
    # A marker that is missing for a while must not shift the mean.
    away = motion.places.x_m[:, columns][:, shown] - np.nanmedian(apart[:, shown], axis=0)
    known = np.isfinite(away)
    return np.where(
        known.any(axis=1), np.where(known, away, 0.0).sum(axis=1) / np.maximum(known.sum(axis=1), 1), np.nan
    )


def date_start(
    t_s: FloatArray,
    course: FloatArray,
    sigma: float,
    level_m_s: float,
    about_s: float,
    unseen_m: float = 0.0,
    *,
    anew: bool = False,
) -> tuple[float, float] | None:
    """When a course passed a speed on its way out of rest [s], with standard uncertainty; None with too few places.

    Parameters
    ----------
    t_s, course : (n,) float arrays without NaN
    sigma : noise of one place [m]
    level_m_s : the speed
    about_s : a moment about then, no earlier than 0.3 s before the true one.
    unseen_m : what it may move before pictures show it, `unseen_way`.
    anew : whether it may gather speed anew on its first millimetres, as what creeps and then lets go.

    Notes
    -----
    A smoothed speed spreads a leap over its smoother's window, and a bend is where two straight pieces meet, which what
    gathers speed passes late. So ways out of rest are fitted for every moment τ at which they may begin, up to a few
    millimetres away: speed that grows as the first or second power of time, without end or until it is steady, and a
    leap. Each fit says when the speed was passed, and counts by its likelihood.

    Where places repeat each other exactly, as a coder's do, what is shown is taken to follow the true way with a play
    of 0 to ``unseen_m``, each equally probable: it stays until the way has gone so far, and is behind by that then.

    Ways that gather speed ``anew`` have a second power of time on top, from one of several moments on; that they do is
    as probable beforehand as that they do not, and costs what one more number does (G. Schwarz, "Estimating the
    dimension of a model", Ann. Stat. 6 (1978) 461: half the logarithm of the number of places).
    Checked by: tests/grip/test_onset.py::test_leap_and_slow_start_are_dated,
    tests/grip/test_onset.py::test_start_that_a_coder_hides_is_dated_before_it_shows
    """
    if len(t_s) < LEAST_PLACES:
        return None
    resting = t_s < about_s - GATHERS_S
    rest = float(np.median(course[resting])) if resting.any() else float(course[0])
    begin = max(0, int(np.searchsorted(t_s, about_s - 2 * GATHERS_S)))
    far = np.flatnonzero((np.abs(course - rest) > EARLY_M) & (t_s > about_s))
    last = int(far[0]) + 2 if len(far) else len(t_s)
    part = slice(begin, max(last, begin + LEAST_PLACES))
    t, y = t_s[part], course[part] - rest
    if len(t) < LEAST_PLACES:
        return None
    step_s = typical_step_s(t)
    starts = np.arange(t[2], t[-3], step_s / 2)
    if len(starts) == 0:
        return None
    repeats = _share_of_repeats(y[t < about_s], unseen_m)
    plays = unseen_m * (np.arange(PLAYS) + 0.5) / PLAYS if repeats > 0 else np.zeros(0)
    plays, chances = np.append(plays, 0.0), np.append(np.full(len(plays), repeats / PLAYS), 1.0 - repeats)
    way = np.sign(float(np.mean(y[-3:]))) or 1.0
    # Places that repeat each other tell nothing of how far a law is off.
    tell = (t >= about_s).sum() + (1.0 - repeats) * (t < about_s).sum()
    dates, costs, priors = [], [], []
    for power, steady_s in LAWS:
        since = np.maximum(t[None, :] - starts[:, None], 0.0)
        shape = _way_of(since, power, steady_s)
        # Each power is as probable as the others, however many ways begin with it.
        prior = 1.0 / POWERS.count(power)
        for play, chance in zip(plays, chances, strict=True):
            if chance <= 0:
                continue
            for again_s in (np.inf, *(ANEW_S if anew else ())):
                if np.isinf(again_s):
                    size, cost = _fit_with_play(shape, way * y, float(play))
                    share = 1.0
                else:
                    size, cost = _fit_anew(shape, np.maximum(since - again_s, 0.0) ** 2, way * y, float(play))
                    share = 1.0 / (len(ANEW_S) * np.sqrt(max(tell, 1.0)))
                after = _time_to_speed(size, power, steady_s, level_m_s)
                # One that never passes it on its first way does so soon after it gathers speed anew.
                dates.append(np.minimum(starts + np.minimum(after, again_s), t[-1]))
                costs.append(cost)
                priors.append(np.full(len(starts), chance * prior * share))
    date, cost, chance_before = np.concatenate(dates), np.concatenate(costs), np.concatenate(priors)
    # What no law fits is the laws' fault, not the noise's.
    spread = max(sigma**2, float(cost.min()) / max(tell - 3.0, 1.0), 1e-12)
    weight = chance_before * np.exp(-0.5 * (cost - cost.min()) / spread)
    at_s = float(np.average(date, weights=weight))
    spread_s = float(np.sqrt(np.average((date - at_s) ** 2, weights=weight)))
    return at_s, float(np.sqrt(spread_s**2 + step_s**2 / 3))


def _share_of_repeats(resting: FloatArray, unseen_m: float) -> float:
    """Which share of the places at rest repeats the one before, but for a twentieth of what may stay unseen."""
    if unseen_m <= 0 or len(resting) < 3:
        return 0.0
    return float(np.mean(np.abs(np.diff(resting)) < REPEATS_RATIO * unseen_m))


def _way_of(since_s: FloatArray, power: int, steady_s: float) -> FloatArray:
    """Way after some time, for a unit size: its power, and straight on once the speed is steady."""
    gathers = np.minimum(since_s, steady_s)
    if steady_s == 0:
        return since_s
    straight = np.where(since_s > steady_s, power * gathers ** (power - 1) * (since_s - gathers), 0.0)
    return np.asarray(gathers**power + straight)


def _fit_with_play(shape: FloatArray, y: FloatArray, play_m: float) -> tuple[FloatArray, FloatArray]:
    """Sizes (c,) and sums of squares (c,) of places as shown, y = a + max(size · shape − play, 0), shapes (c, n)."""
    n = shape.shape[1]
    shows = shape > 0
    for _ in range(FIT_TURNS if play_m > 0 else 1):
        active = np.where(shows, shape, 0.0)
        count, first, second = shows.sum(axis=1), active.sum(axis=1), (active**2).sum(axis=1)
        right = y.sum() + play_m * count, active @ y + play_m * first
        det = np.maximum(n * second - first**2, 1e-30)
        rest = (second * right[0] - first * right[1]) / det
        size = np.maximum((n * right[1] - first * right[0]) / det, 1e-9)
        shows = size[:, None] * shape > play_m
    shown = np.maximum(size[:, None] * shape - play_m, 0.0)
    return size, np.asarray(((y - rest[:, None] - shown) ** 2).sum(axis=1))


def _fit_anew(shape: FloatArray, later: FloatArray, y: FloatArray, play_m: float) -> tuple[FloatArray, FloatArray]:
    """Sizes (c,) of a way and sums of squares (c,), with a second way (c, n) on top; infinite where that goes back."""
    shows = shape > 0
    for _ in range(FIT_TURNS if play_m > 0 else 1):
        ways = np.stack([np.ones_like(shape), np.where(shows, shape, 0.0), np.where(shows, later, 0.0)], axis=-1)
        moved = y + play_m * shows
        normal = np.swapaxes(ways, 1, 2) @ ways
        scale = np.sqrt(np.maximum(np.einsum("cii->ci", normal), 1e-30))
        inverse = np.linalg.pinv(normal / (scale[:, :, None] * scale[:, None, :]), rcond=1e-8, hermitian=True)
        right = np.einsum("cni,cn->ci", ways, moved) / scale
        solution = np.einsum("cij,cj->ci", inverse, right) / scale
        way = np.maximum(solution[:, 1:2], 0.0) * shape + np.maximum(solution[:, 2:3], 0.0) * later
        shows = way > play_m
    cost = ((y - solution[:, :1] - np.maximum(way - play_m, 0.0)) ** 2).sum(axis=1)
    back = (solution[:, 1] <= 0) | (solution[:, 2] <= 0)
    return np.maximum(solution[:, 1], 1e-9), np.where(back, np.inf, cost)


def _time_to_speed(size: FloatArray, power: int, steady_s: float, level_m_s: float) -> FloatArray:
    """When a way passes a speed [s] after it began; infinite where it never does."""
    if power == 1 or steady_s == 0:
        return np.where(size >= level_m_s, 0.0, np.inf)
    after = (level_m_s / (power * size)) ** (1 / (power - 1))
    return np.where(after <= steady_s, after, np.inf)


def unseen_way(motion: Motion) -> float:
    """How far a thing may move [m] before a coder shows it: `UNSEEN_PX` at the pictures' own scale; 0 if unknown."""
    tracks, places = motion.tracks, motion.places
    seen = np.isfinite(places.x_m) & np.isfinite(tracks.col_px)
    if places.x_m.shape[1] < 2:
        return 0.0
    every = np.flatnonzero(seen.sum(axis=1) >= 2)
    if len(every) == 0:
        return 0.0
    row = int(every[len(every) // 2])
    at = np.flatnonzero(seen[row])
    ends = at[[int(np.argmin(tracks.col_px[row, at])), int(np.argmax(tracks.col_px[row, at]))]]
    apart_px = float(np.hypot(*(np.diff(v[row, ends])[0] for v in (tracks.col_px, tracks.row_px))))
    apart_m = float(np.hypot(*(np.diff(v[row, ends])[0] for v in (places.x_m, places.y_m))))
    return UNSEEN_PX * apart_m / apart_px if apart_px > 1 else 0.0
