"""The pull stage: every source that footage and sheet support, fused, and each machine's traction from it."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Final, Literal

import numpy as np
import numpy.typing as npt

from matchvision.errors import CannotMeasure
from matchvision.pull.drive import join_drives, known_drives, measure_drive
from matchvision.pull.fusing import Contradiction, fuse_sources, window_mean
from matchvision.pull.hanging import LinkLaw, fit_link
from matchvision.pull.link import measure_link
from matchvision.pull.load import MOVING_M_S, is_level, known_loads, measure_load, slope_under
from matchvision.pull.stretch import measure_stretch
from matchvision.pull.traction import measure_traction
from matchvision.records.motion import MatchClock, Motion, RopeMotion
from matchvision.records.pull import Pull, PullSource, Traction
from matchvision.records.results import StageNote
from matchvision.records.sheet import RopeSheet, Run, RunSheet
from matchvision.uncertainty import format_interval

FloatArray = npt.NDArray[np.float64]

#: The largest pull is that of means over this long: a single frame's noise is no pull.
PEAK_OVER_S: Final = 0.2


def measure_pull(run: Run, motion: Motion, clock: MatchClock) -> tuple[Pull, StageNote]:
    """Rope tension from each source and fused, and each machine's traction.

    Sources that only the forecast supports are marked and never give traction: that would compare the forecast with
    itself.

    Raises
    ------
    CannotMeasure
        Where there is no rope, or nothing that any source could rest on.
    """
    cord, rope = run.sheet.rope, motion.rope
    if cord is None or rope is None:
        raise CannotMeasure(
            "no rope is described or seen, so there is no pull to measure",
            do="describe the rope with its beads in [rope], and film it whole",
        )
    left_out: list[str] = []
    warnings: list[str] = []
    sources = [
        source
        for source in (
            _try_link(run, cord, rope, left_out, warnings),
            _try_stretch(cord, rope, left_out),
            _try_load(run, motion, rope, left_out),
            _try_drive(run, motion, clock, left_out),
        )
        if source is not None
    ]
    sources = _mask_contact(run, motion, sources, left_out)
    if not sources:
        raise CannotMeasure("nothing in the sheet turns the motion into a pull", do=" ".join(left_out))
    fused, contradictions = fuse_sources(sources, motion.real_s)
    match_s = clock.match_time(motion.clip_s)
    disagreement = tuple(describe_contradiction(found, match_s) for found in contradictions)
    traction = _try_traction(run, motion, rope, fused, left_out)
    pull = Pull((*sources, fused), traction, disagreement, tuple(left_out))
    names = {source.source for source in sources}
    status: Literal["done", "partly"] = "done" if asked_sources(run.sheet) <= names else "partly"
    during = (match_s >= 0) & (match_s <= clock.duration_s)
    sentence = describe_pull(sources, fused, during, match_s)
    return pull, StageNote("pull", status, sentence, (*warnings, *disagreement), tuple(left_out))


def describe_pull(
    sources: Sequence[PullSource], fused: PullSource, during: npt.NDArray[np.bool_], match_s: FloatArray
) -> str:
    """What the tension rests on and how large it became during the match."""
    names = {
        "link": "the sprung link",
        "stretch": "the cord's stretch",
        "inertia": "the known load",
        "drive": "the drive's torque line",
    }
    words = [names[s.source] + ("" if s.independent else " (not independent of the forecast)") for s in sources]
    sentence = f"Rope tension from {' and '.join(words)}"
    seen_N = np.where(during, window_mean(fused.tension_N, match_s, PEAK_OVER_S), np.nan)
    if not np.isfinite(seen_N).any():
        return f"{sentence}; none of it during the match."
    peak = int(np.nanargmax(seen_N))
    largest = format_interval(float(seen_N[peak]), float(fused.u_tension_N[peak]), "N")
    return f"{sentence}; largest {largest} (95 %, mean over {PEAK_OVER_S:g} s) at {match_s[peak]:.2f} s."


def asked_sources(sheet: RunSheet) -> set[str]:
    """Sources that the sheet describes in order to have the pull measured; what rests on the forecast is not asked."""
    asked = set()
    if sheet.rope is not None and sheet.rope.link is not None:
        asked.add("link")
    if any(machine.load is not None for machine in sheet.machine.values()):
        asked.add("inertia")
    if any(machine.drive is not None for machine in sheet.machine.values()):
        asked.add("drive")
    return asked


def describe_contradiction(found: Contradiction, match_s: FloatArray) -> str:
    """Which sources contradict each other, when, and by how much at the worst."""
    difference_N = np.where(found.frames, np.abs(found.difference_N), np.nan)
    worst = int(np.nanargmax(difference_N))
    at_s = match_s[found.frames]
    much = format_interval(float(found.difference_N[worst]), float(found.u_difference_N[worst]), "N")
    meaning = {
        "inertia": "the table under the load is rougher or smoother there than its stated friction says",
        "drive": "the drive did not do what its torque line and the throttle say",
    }.get(found.source, "one of the two rests on a wrong number")
    return (
        f"From {at_s[0]:.2f} s to {at_s[-1]:.2f} s {found.source} and {found.believed} contradict each other "
        f"({found.source} less {found.believed}: {much}, 95 %, at {match_s[worst]:.2f} s). {found.believed} is "
        f"believed there, since it needs fewer assumptions; perhaps {meaning}."
    )


def find_contact(run: Run, motion: Motion) -> npt.NDArray[np.bool_]:
    """Frames (n,) in which the two machines on the rope may touch: their circles meet. False where unknown."""
    touching = np.zeros(len(motion.real_s), dtype=np.bool_)
    ends = run.sheet.rope.ends if run.sheet.rope is not None else ()
    moved = [motion.machines[name] for name in ends if name in motion.machines]
    sizes = [run.sheet.machine[m.machine].size_m for m in moved]
    if len(moved) != 2 or sizes[0] is None or sizes[1] is None:
        return touching
    apart_m = np.hypot(moved[0].x_m - moved[1].x_m, moved[0].y_m - moved[1].y_m)
    return np.asarray(apart_m < (sizes[0][0] + sizes[1][0]) / 2, dtype=np.bool_)


def _mask_contact(run: Run, motion: Motion, sources: list[PullSource], left_out: list[str]) -> list[PullSource]:
    """Without the pull from momentum and drive while the machines touch, since they then push each other as well."""
    touching = find_contact(run, motion)
    if not touching.any():
        return sources
    left_out.append("While the machines touch each other the pull from inertia and drive is not available.")
    masked = []
    for source in sources:
        if source.source in {"inertia", "drive"}:
            series = (source.tension_N, source.u_tension_N, source.u_common_N)
            tension_N, u_tension_N, u_common_N = (np.where(touching, np.nan, values) for values in series)
            if not np.isfinite(tension_N).any():
                continue
            masked.append(replace(source, tension_N=tension_N, u_tension_N=u_tension_N, u_common_N=u_common_N))
        else:
            masked.append(source)
    return masked


def _try_link(
    run: Run, cord: RopeSheet, rope: RopeMotion, left_out: list[str], warnings: list[str]
) -> PullSource | None:
    if cord.link is None:
        left_out.append("A sprung link in the rope with a hang test would give the pull directly.")
        return None
    if run.hang_test is None or not np.isfinite(rope.link_length_m).any():
        left_out.append("The sprung link's markers were not seen, so it gave no pull: film the link with both markers.")
        return None
    try:
        law = fit_link(run.hang_test, cord.link.u_reading_m)
    except CannotMeasure as reason:
        left_out.append(f"The sprung link gave no pull, because {reason.what}: {reason.do}.")
        return None
    source = measure_link(law, rope)
    warnings.extend(_warn_of_link(law, source))
    return source


def _warn_of_link(law: LinkLaw, source: PullSource) -> list[str]:
    warnings = []
    highest_N = float(np.nanmax(source.tension_N)) if np.isfinite(source.tension_N).any() else 0.0
    if highest_N > law.highest_N:
        warnings.append(
            f"The pull reached {highest_N:.1f} N, but the link was tested to {law.highest_N:.1f} N only: beyond that "
            "its law is drawn on, and a spring near its end grows stiff. Hang heavier masses on it."
        )
    if law.s > 2:
        warnings.append(
            f"The hang test's readings lie {law.s:.1f} times as far from a smooth law as u_reading_m says: "
            "the uncertainty was widened. Read the lengths again, or state a larger u_reading_m."
        )
    if law.opening_N > 0:
        warnings.append(
            f"The link opens at {law.opening_N:.1f} N only; below that it says no more than that the pull is smaller."
        )
    return warnings


def _try_stretch(cord: RopeSheet, rope: RopeMotion, left_out: list[str]) -> PullSource | None:
    source = measure_stretch(cord, rope)
    if source is None and cord.stiffness_N_per_m is not None:
        left_out.append(
            "The cord's own stretch gave no pull: its length is not known well enough for so stiff a cord "
            f"({cord.stiffness_N_per_m.value:.0f} N/m)."
        )
    return source


def _try_load(run: Run, motion: Motion, rope: RopeMotion, left_out: list[str]) -> PullSource | None:
    for load in known_loads(run.sheet):
        moved = motion.machines.get(load.machine)
        if moved is None:
            left_out.append(f"{load.machine} was not seen, so its friction and inertia gave no pull.")
            continue
        source = measure_load(load, moved, rope, slope_under(load, run.sheet.table, moved.x_m))
        if np.any(source.tension_N > 0):
            return source
        left_out.append(f"{load.machine} never moved faster than {1000 * MOVING_M_S:.0f} mm/s, so it gave no pull.")
    return None


def _try_drive(run: Run, motion: Motion, clock: MatchClock, left_out: list[str]) -> PullSource | None:
    sources = []
    if not is_level(run.sheet.table):
        if known_drives(run, clock, motion.clip_s):
            left_out.append("The drive gave no pull: the weight's share along a sloping table is not reckoned with.")
        return None
    for drive in known_drives(run, clock, motion.clip_s):
        source = measure_drive(drive, motion)
        if source is not None and np.isfinite(source.tension_N).any():
            sources.append(source)
            if not source.independent:
                left_out.append(
                    f"The drive of {drive.machine} is stated in the forecast only: its pull is not independent. "
                    f"Measured numbers in [machine.{drive.machine}.drive] and a log of the commands would make it so."
                )
        else:
            left_out.append(f"The drive of {drive.machine} gave no pull, because the rate of its wheels was not seen.")
    return join_drives(sources) if sources else None


def _try_traction(
    run: Run, motion: Motion, rope: RopeMotion, fused: PullSource, left_out: list[str]
) -> tuple[Traction, ...]:
    if not fused.independent or run.sheet.rope is None:
        left_out.append(
            "Traction is left out, since no pull is independent of the forecast: a sprung link would give it."
        )
        return ()
    if not is_level(run.sheet.table):
        left_out.append("Traction and the grip used are left out: weight on a sloping table is not reckoned with.")
        return ()
    found = []
    for end, name in enumerate(run.sheet.rope.ends):
        machine, moved = run.sheet.machine.get(name), motion.machines.get(name)
        if machine is None or machine.load is not None:
            continue
        if moved is None:
            left_out.append(f"The traction of {name} is left out, since it was not seen.")
            continue
        try:
            found.append(measure_traction(name, machine, end, moved, rope, fused))
        except CannotMeasure as reason:
            left_out.append(f"The traction of {name} is left out, because {reason.what}: {reason.do}.")
    return tuple(found)
