"""Machines that do not stand on all their wheels: pitch and roll from all markers of the rigid body together."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from matchvision.arrays import BoolArray, FloatArray, IntArray
from matchvision.geometry.placing import parameter_jacobian
from matchvision.motion.machines import Contact, Pose
from matchvision.motion.rigid import Body, Linear, linearise
from matchvision.motion.rims import place_rim
from matchvision.motion.sighting import Sighting, spread_from_camera
from matchvision.motion.smoothing import smooth_series
from matchvision.motion.surface import USUAL_CONTACT_M, Ground
from matchvision.records.motion import MachineMotion
from matchvision.records.sheet import Machine
from matchvision.records.tracks import MarkerPlan, Tracks

#: How far a machine that stands on its wheels may roll on them [rad]: soft tyres, and paper under a wheel.
U_STANDING_RAD = 0.003
#: What a frame's markers must tell of the pitch [rad] for it to be measured at all.
LARGEST_U_FRAME_RAD = 0.06
#: A machine is taken as lifted where its pitch or roll passes this [rad] …
LIFTED_RAD = 0.02
#: … and this many standard uncertainties, for so long [s]; until it falls below half of it.
LIFTED_U = 4.0
LIFTED_FOR_S = 0.08
#: Measurements beyond what a pose needs, without which wheel angle and tilt may stand in for each other.
SPARE_FOR_PITCH = 2
SPARE_FOR_ROLL = 3
#: Root mean square of the third of a normal scatter that lies nearest to nothing, over its standard deviation.
CALM_THIRD_RATIO = 0.246
#: A machine stands at first: time at the clip's beginning from which its upright pose is taken [s].
FIRST_S = 0.5
#: Fewer frames do not show how it stands.
FEWEST_FRAMES = 10
#: Turns of Gauss–Newton, and a step of metres and radians after which a frame needs no further one.
TURNS = 8
SETTLED = 1e-7
#: A frame does not fit where its markers are off by four times what they usually are (squared).
WORST_MISFIT = 16.0
X, Y, HEADING, PITCH, ROLL = range(5)


@dataclass(frozen=True, eq=False)
class Tilt:
    """How a machine is tilted against the surface under it, (n,) arrays [rad]; NaN where its markers do not show it.

    Attributes
    ----------
    pitch, roll : nose up and left side up are positive; smoothed, and 0 while it stood at first
    u_pitch, u_roll : standard uncertainties
    lifted : where it surely does not stand on all its wheels, or did so when that was last told, or next
    """

    pitch: FloatArray
    roll: FloatArray
    u_pitch: FloatArray
    u_roll: FloatArray
    lifted: BoolArray

    def noted_in(self, moved: MachineMotion) -> MachineMotion:
        """A machine's motion with its tilt."""
        return replace(
            moved,
            pitch_deg=np.degrees(self.pitch),
            roll_deg=np.degrees(self.roll),
            u_pitch_deg=np.degrees(self.u_pitch),
            u_roll_deg=np.degrees(self.u_roll),
        )

    def applied(self) -> tuple[FloatArray, FloatArray]:
        """Pitch and roll to reckon with: those of lifted frames; a standing machine has none."""
        return (
            np.where(self.lifted, np.nan_to_num(self.pitch), 0.0),
            np.where(self.lifted, np.nan_to_num(self.roll), 0.0),
        )


def contact_of(machine: Machine) -> Contact:
    """From the sheet: axles or edges, and wheels' faces or the body's width."""
    length = machine.wheelbase_m or (machine.size_m[0] if machine.size_m is not None else USUAL_CONTACT_M)
    sides = [abs(wheel.face_m[1]) for wheel in machine.wheel]
    width = 2 * max(sides) if sides else (machine.size_m[1] if machine.size_m is not None else USUAL_CONTACT_M)
    return Contact(length / 2, width / 2)


@dataclass(frozen=True, eq=False)
class RigidFit:
    """Along, y, heading, pitch and roll (n, 5) frame by frame, covariance and derivatives (n, 5, 15) by the camera."""

    pose: FloatArray
    covariance: FloatArray
    by_camera: FloatArray


class RigidMarkers:
    """A machine's markers as one rigid body: where the camera sees them for a pose, and the pose that fits best."""

    def __init__(
        self,
        machine: Machine,
        name: str,
        tracks: Tracks,
        ground: Ground,
        sighting: Sighting,
        kinds: tuple[str, ...] = ("body", "rim"),
    ) -> None:
        plans = tracks.plans
        self.columns = [i for i, p in enumerate(plans) if p.machine == name and p.kind in kinds and not p.on_reach]
        wheels = sorted({plans[i].wheel for i in self.columns if plans[i].kind == "rim"})
        self.plans: Sequence[MarkerPlan] = [plans[i] for i in self.columns]
        wheel = np.array([wheels.index(p.wheel) if p.kind == "rim" else -1 for p in self.plans])
        self.turns = len(wheels)
        at_m = np.array([p.at_m for p in self.plans])
        circle_m = np.array([p.circle_m if p.kind == "rim" else 0.0 for p in self.plans])
        place_rad = np.radians([p.angle_deg if p.kind == "rim" else 0.0 for p in self.plans])
        self.contact, self.sighting = contact_of(machine), sighting
        self.pixels = sighting.pixels_px[:, self.columns]
        self.u = sighting.u_pixels_px[:, self.columns]
        self.seen = (
            sighting.seen[:, self.columns] & np.isfinite(self.pixels + self.u).all(axis=-1) & (self.u > 0).all(-1)
        )
        self._body = Body(at_m, circle_m, place_rad, wheel, self.contact, ground)

    def fit(self, start: FloatArray, prior: FloatArray, u_prior: FloatArray) -> RigidFit:
        """Gauss–Newton on the pixels of all seen markers, under a prior (n, 5 + wheels).

        Frames that do not fit from where they start are tried again from how their neighbours lie: a machine that tips
        has several poses that seem best from afar. Frames that never fit, and those with fewer than two markers seen,
        come out as NaN.
        """
        every = np.arange(len(start))
        u_prior = np.broadcast_to(u_prior, start.shape)
        state = np.where(np.isfinite(start), start, np.nan_to_num(prior))
        state = self._settle(state, prior, u_prior, every)
        state, misfit, limit = self._follow(state, prior, u_prior)
        linear = self._linear(state, every)
        normal = linear.normal
        normal[:, np.arange(state.shape[1]), np.arange(state.shape[1])] += u_prior**-2.0
        inverse = np.linalg.inv(normal)
        weight = np.where(self.seen[..., None], 1.0 / np.where(self.seen[..., None], self.u, 1.0) ** 2, 0.0)
        by_pixels = np.einsum("nij,nkaj->nika", inverse, linear.design * weight[..., None])
        of_camera = np.nan_to_num(parameter_jacobian(self.sighting.parameters[:, None, :], self._body.places(state)))
        by_camera = -np.einsum("nika,nkap->nip", by_pixels, of_camera)
        lost = (self.seen.sum(axis=1) < 2) | (misfit > limit)
        state[lost], inverse[lost] = np.nan, np.nan
        own = inverse + self.sighting.own_spread(by_camera)
        return RigidFit(state[:, :5], own[:, :5, :5], self.sighting.common(by_camera)[:, :5])

    def _linear(self, state: FloatArray, rows: IntArray) -> Linear:
        """Least squares about the states (r, d) of some frames."""
        parameters = self.sighting.parameters[rows if len(self.sighting.parameters) > 1 else slice(None)]
        return linearise(self._body, state, parameters, self.pixels[rows], self.u[rows], self.seen[rows])

    def _settle(self, state: FloatArray, prior: FloatArray, u_prior: FloatArray, rows: IntArray) -> FloatArray:
        """States (r, d) of some frames after a few turns."""
        d, state = state.shape[1], state.copy()
        moving = np.arange(len(rows))
        for _ in range(TURNS):
            at, own = state[moving], rows[moving]
            linear = self._linear(at, own)
            normal = linear.normal
            normal[:, np.arange(d), np.arange(d)] += u_prior[own] ** -2.0
            right = linear.right + (prior[own] - at) * u_prior[own] ** -2.0
            # A long step of an angle would leave the branch on which the body stands on this side or that.
            step = np.clip(np.linalg.solve(normal, right[..., None])[..., 0], -0.2, 0.2)
            state[moving] = at + step
            moving = moving[(np.abs(step) > SETTLED).any(axis=1)]
            if not len(moving):
                break
        return state

    def _misfit(self, state: FloatArray, rows: IntArray) -> FloatArray:
        """Squares of what is left over, by their u, to each measurement to spare (r,); 0 where none is."""
        seen = self.seen[rows][..., None]
        scaled = np.where(seen, self._linear(state, rows).off / np.where(seen, self.u[rows], 1.0), 0.0)
        spare = 2 * self.seen[rows].sum(axis=1) - state.shape[1]
        return np.asarray(np.where(spare > 0, (scaled**2).sum(axis=(1, 2)) / np.maximum(spare, 1), 0.0))

    def _follow(
        self, state: FloatArray, prior: FloatArray, u_prior: FloatArray
    ) -> tuple[FloatArray, FloatArray, float]:
        """States, those that do not fit followed on from their neighbours, forwards and backwards; misfit and limit."""
        every = np.arange(len(state))
        misfit = self._misfit(state, every)
        told = misfit[misfit > 0]
        limit = WORST_MISFIT * max(1.0, float(np.median(told)) if len(told) else 1.0)
        for order in (1, -1):
            for k in every[::order]:
                before, earlier = k - order, k - 2 * order
                if misfit[k] <= limit or not 0 <= before < len(state) or misfit[before] > limit:
                    continue
                start = state[before].copy()
                if 0 <= earlier < len(state) and misfit[earlier] <= limit:
                    start += state[before] - state[earlier]
                rows = np.array([k])
                again = self._settle(start[None], prior, u_prior, rows)
                worth = float(self._misfit(again, rows)[0])
                if worth < misfit[k]:
                    state[k], misfit[k] = again[0], worth
        return state, misfit, limit


def start_states(pose: Pose, machine: Machine, tracks: Tracks, sighting: Sighting, body: RigidMarkers) -> FloatArray:
    """States (n, 5 + wheels) from the upright pose: the rim marks as they would lie on an upright wheel."""
    n = len(pose.along.value)
    state = np.zeros((n, 5 + body.turns))
    for i, series in ((X, pose.along.value), (Y, pose.y.value), (HEADING, pose.heading.value)):
        known = np.flatnonzero(np.isfinite(series))
        state[:, i] = np.interp(np.arange(n), known, series[known]) if len(known) else np.nan
    names = sorted({p.wheel for p in body.plans if p.kind == "rim"})
    for k, name in enumerate(names):
        wheel = next(w for w in machine.wheel if w.name == name)
        rim = place_rim(pose, wheel, tracks, sighting)
        if rim is None:
            continue
        place = np.radians([tracks.plans[i].angle_deg for i in rim.columns]) - np.arctan2(rim.up_m, rim.along_m)
        good = rim.seen & np.isfinite(place)
        state[:, 5 + k] = np.angle(np.where(good, np.exp(1j * np.nan_to_num(place)), 0.0).sum(axis=1))
    return state


def find_tilt(pose: Pose, machine: Machine, tracks: Tracks, sighting: Sighting, real_s: FloatArray) -> Tilt:
    """Pitch and roll of a machine over the clip; NaN where its markers never show them.

    Two markers in line tell no pitch from a turn; three that are not in line do, and so do two with marks on a wheel.
    What is measured is the change against how the machine stood at first: there what the sheet says of the markers,
    and what the camera does to them, has been the same.

    Notes
    -----
    Each frame's pose is fitted to all markers' pixels, the body standing on its rear axle while its nose is up and on
    its front axle while its tail is, on the left side or the right while it rolls. Where roll is not shown, the machine
    stands on both sides.
    Checked by: tests/motion/test_tilting.py::test_lift_of_an_invented_run
    """
    body = RigidMarkers(machine, pose.machine, tracks, pose.ground, sighting)
    unknown = np.full(len(real_s), np.nan)
    nothing = Tilt(unknown, unknown, unknown, unknown, np.zeros(len(real_s), dtype=np.bool_))
    if len(body.columns) < 3 or not np.isfinite(pose.along.value).any():
        return nothing
    start = start_states(pose, machine, tracks, sighting, body)
    wide = np.array([1.0, 1.0, 10.0, 0.5, 0.5, *[10.0] * body.turns])
    prior = start * [1, 1, 1, 0, 0, *[1] * body.turns]
    spare = 2 * len(body.columns) - body.turns - 5
    fit, rolls = None, False
    if spare >= SPARE_FOR_ROLL:
        fit = body.fit(start, prior, wide)
        rolls = _shown(fit, ROLL) and _shown(fit, PITCH)
    if not rolls:
        # A fit takes long: the one that stands on both sides is made only where it is needed, and the other likewise.
        upright = np.where(np.arange(len(wide)) == ROLL, U_STANDING_RAD, wide)
        fit = body.fit(start, prior, upright) if spare + 1 >= SPARE_FOR_PITCH else None
    if fit is None or not (rolls or _shown(fit, PITCH)):
        return nothing
    pitch, u_pitch = _against_first(fit, PITCH, sighting, real_s)
    if rolls:
        roll, u_roll = _against_first(fit, ROLL, sighting, real_s)
    else:
        roll, u_roll = unknown, unknown
    lifted = _lifted(pitch, _calm(pitch, u_pitch), real_s) | _lifted(roll, _calm(roll, u_roll), real_s)
    # What a machine shows that stands on its wheels is error: errors of its marks that go together over frames, too.
    return Tilt(pitch, roll, _widen(pitch, u_pitch, lifted), _widen(roll, u_roll, lifted), lifted)


def _calm(angle: FloatArray, u: FloatArray) -> FloatArray:
    """Uncertainty of an angle for telling a lift, at least what the calmest third of the clip scatters."""
    size = np.sort(np.abs(angle[np.isfinite(angle)]))
    third = size[: len(size) // 3]
    return np.asarray(np.hypot(u, np.sqrt(np.mean(third**2)) / CALM_THIRD_RATIO)) if len(third) else u


def _widen(angle: FloatArray, u: FloatArray, lifted: BoolArray) -> FloatArray:
    standing = angle[~lifted & np.isfinite(angle)]
    return np.asarray(np.hypot(u, np.sqrt(np.mean(standing**2)))) if len(standing) else u


def _shown(fit: RigidFit, which: int) -> bool:
    """Whether an angle is told by most frames' own markers."""
    variance = fit.covariance[:, which, which]
    known = np.isfinite(variance)
    return bool(known.sum() >= FEWEST_FRAMES and np.sqrt(np.median(variance[known])) < LARGEST_U_FRAME_RAD)


def _against_first(fit: RigidFit, which: int, sighting: Sighting, real_s: FloatArray) -> tuple[FloatArray, FloatArray]:
    """An angle smoothed, and less what it was at first; with all that makes it unsure."""
    angle, u = fit.pose[:, which], np.sqrt(fit.covariance[:, which, which])
    told = np.isfinite(angle) & (u < LARGEST_U_FRAME_RAD)
    smoothed = smooth_series(real_s, np.where(told, angle, np.nan), np.where(told, u, np.nan))
    known = np.flatnonzero(np.isfinite(smoothed.value))
    if len(known) == 0:
        return smoothed.value, smoothed.value
    first = known[real_s[known] <= real_s[known[0]] + FIRST_S]
    zero = float(np.median(smoothed.value[first]))
    jacobian = fit.by_camera[:, which]
    apart = jacobian - np.nanmean(jacobian[first], axis=0)
    common = spread_from_camera(apart[:, None], sighting.covariance)[:, 0, 0]
    u_zero = float(np.median(smoothed.u_value[first])) / np.sqrt(max(1.0, len(first) / FEWEST_FRAMES))
    return smoothed.value - zero, np.sqrt(smoothed.u_value**2 + common + u_zero**2)


def _lifted(angle: FloatArray, u: FloatArray, real_s: FloatArray) -> BoolArray:
    """Where an angle surely passes what a standing machine has, from and to where it passes half of that."""
    size = np.nan_to_num(np.abs(angle))
    limit = np.fmax(LIFTED_RAD, LIFTED_U * np.nan_to_num(u, nan=np.inf))
    above, half = size > limit, size > 0.5 * limit
    lifted = np.zeros(len(angle), dtype=np.bool_)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], half.astype(np.int8), [0]])))
    for first, end in zip(edges[::2], edges[1::2], strict=True):
        if above[first:end].any() and real_s[end - 1] - real_s[first] >= LIFTED_FOR_S:
            lifted[first:end] = True
    # Where it is not told, it may go on as it was told last, or have begun before it is told next.
    told = np.flatnonzero(np.isfinite(angle))
    if len(told):
        after = np.clip(np.searchsorted(told, np.arange(len(angle))), 0, len(told) - 1)
        before = np.clip(np.searchsorted(told, np.arange(len(angle)), side="right") - 1, 0, len(told) - 1)
        lifted |= ~np.isfinite(angle) & (lifted[told[before]] | lifted[told[after]])
    return lifted
