"""The pull stage: every source that footage and sheet support, fused, and each machine's traction from it."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations, product
from typing import Final, Literal

import numpy as np
import numpy.typing as npt

from matchvision.arrays import FloatArray
from matchvision.errors import CannotMeasure
from matchvision.geometry.footprints import nearest_gap, outline_of, wall_outline
from matchvision.pull.drive import states_motor_line
from matchvision.pull.fusing import ROPE, Contradiction, Fused, fuse_sources
from matchvision.pull.lacking import say_what_to_add
from matchvision.pull.steadying import average_accelerations
from matchvision.pull.tautness import believe_stretched_link
from matchvision.pull.trying import Told, try_drive, try_link, try_load, try_momentum, try_stretch, try_traction
from matchvision.records.motion import MatchClock, Motion
from matchvision.records.pull import Pull, PullSource
from matchvision.records.results import StageNote
from matchvision.records.sheet import Run, RunSheet
from matchvision.uncertainty import expand, format_interval, format_quantity, window_mean

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
        if run.sheet.run.kind in {"slope", "coast", "free"}:
            raise CannotMeasure(f"nobody pulls a rope in a {run.sheet.run.kind} run")
        raise CannotMeasure(
            "no rope is described or seen, so there is no pull to measure",
            do="describe the rope with its beads in [rope], and film it whole",
        )
    match_s = clock.match_time(motion.clip_s)
    motion, said = believe_stretched_link(run, average_accelerations(motion), match_s)
    rope = motion.rope or rope
    told = Told(warnings=list(said))
    sources = [
        source
        for source in (
            try_link(run, cord, rope, motion.real_s, told),
            try_stretch(cord, rope, told),
            try_load(run, motion, rope, told),
            try_momentum(run, motion, rope, told),
            try_drive(run, motion, clock, rope, told),
        )
        if source is not None
    ]
    sources = _mask_contact(run, motion, sources, told)
    lacking = say_what_to_add(run, motion)
    if not sources:
        raise CannotMeasure(
            "nothing in the sheet turns the motion into a pull", do=" ".join((*told.left_out, *lacking))
        )
    if cord.link is None:
        told.left_out.append(lacking[0])
    fused = fuse_sources(sources, motion.real_s)
    disagreement = tuple(describe_contradiction(found, match_s) for found in fused.contradictions)
    traction = try_traction(run, motion, rope, fused.source, told)
    pull = Pull((*sources, fused.source), traction, disagreement, tuple(told.left_out))
    names = {source.source for source in sources}
    status: Literal["done", "partly"] = "done" if asked_sources(run.sheet) <= names else "partly"
    during = (match_s >= 0) & (match_s <= clock.duration_s)
    sentence = describe_pull(sources, fused, during, match_s)
    return pull, StageNote("pull", status, sentence, (*told.warnings, *disagreement), tuple(told.left_out))


def describe_pull(
    sources: Sequence[PullSource], fused: Fused, during: npt.NDArray[np.bool_], match_s: FloatArray
) -> str:
    """What the tension rests on, how large it became during the match and how well the sources agree."""
    names = {
        "link": "the sprung link",
        "stretch": "the cord's stretch",
        "inertia": "the known load",
        "momentum": "the momentum of a machine whose wheels slide",
        "drive": "the drive's torque line",
    }
    words = [names[s.source] + ("" if s.independent else " (not independent of the forecast)") for s in sources]
    sentence = f"Rope tension from {' and '.join(words)}"
    source = fused.source
    seen_N = np.where(during, window_mean(source.tension_N, match_s, PEAK_OVER_S), np.nan)
    if not np.isfinite(seen_N).any():
        return f"{sentence}; none of it during the match."
    peak = int(np.nanargmax(seen_N))
    half_N = expand(float(source.u_tension_N[peak]), source.degrees)
    largest = format_quantity(float(seen_N[peak]), half_N, "N")
    agree = ""
    if np.isfinite(fused.birge):
        agree = f" Where sources overlap they differ by {fused.birge:.1f} times what is stated (1 or less: they agree)."
    return f"{sentence}; largest {largest} (95 %, mean over {PEAK_OVER_S:g} s) at {match_s[peak]:.2f} s.{agree}"


def asked_sources(sheet: RunSheet) -> set[str]:
    """Sources that the sheet describes in order to have the pull measured; what rests on the forecast is not asked."""
    asked = set()
    if sheet.rope is not None and sheet.rope.link is not None:
        asked.add("link")
    machines = sheet.machine.values()
    if any(m.load is not None and (m.load.hangs or m.load.grip_sliding is not None) for m in machines):
        asked.add("inertia")
    if any(m.drive is not None and states_motor_line(m.drive) for m in machines):
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
        "momentum": "the table under the sliding wheels grips more or less there than stated",
        "drive": "the drive did not do what its torque line and the throttle say",
    }.get(found.source, "one of the two rests on a wrong number")
    if found.believed == ROPE:
        return (
            f"From {at_s[0]:.2f} s to {at_s[-1]:.2f} s {found.source} would have the rope push ({much}, 95 %, mean "
            f"over half a second about {match_s[worst]:.2f} s), which it cannot. {found.source} is left out there; "
            f"perhaps {meaning}, or a machine was not where the footage shows it."
        )
    return (
        f"From {at_s[0]:.2f} s to {at_s[-1]:.2f} s {found.source} and {found.believed} contradict each other "
        f"({found.source} less {found.believed}: {much}, 95 %, at {match_s[worst]:.2f} s). {found.believed} is "
        f"believed there, since it needs fewer assumptions; perhaps {meaning}."
    )


def find_contact(run: Run, motion: Motion) -> npt.NDArray[np.bool_]:
    """Frames (n,) in which a machine on the rope may touch the other one, or somebody's wall; False where unknown.

    They may where the gap between their outlines is less than twice its uncertainty.
    """
    n = len(motion.real_s)
    touching = np.zeros(n, dtype=np.bool_)
    ends = run.sheet.rope.ends if run.sheet.rope is not None else ()
    seen = {name: motion.machines[name] for name in ends if name in motion.machines}
    outlines = [outline_of(moved, run.sheet.machine[name]) for name, moved in seen.items()]
    machines = [outline for outline in outlines if outline]
    walls = [(wall,) for machine in run.sheet.machine.values() if (wall := wall_outline(machine, n)) is not None]
    pairs = [*combinations(machines, 2), *product(machines, walls)]
    for first, second in pairs:
        gap_m, u_m, _ = nearest_gap(first, second)
        touching |= gap_m < 2 * u_m
    return touching


def _mask_contact(run: Run, motion: Motion, sources: list[PullSource], told: Told) -> list[PullSource]:
    """Without the pull from momentum and drive while the machines touch, since they then push each other as well."""
    touching = find_contact(run, motion)
    if not touching.any():
        return sources
    told.left_out.append(
        "While the machines touch each other the pull from inertia, momentum and drive is not available."
    )
    masked = []
    for source in sources:
        if source.source in {"inertia", "momentum", "drive"}:
            series = (source.tension_N, source.u_tension_N, source.u_common_N)
            tension_N, u_tension_N, u_common_N = (np.where(touching, np.nan, values) for values in series)
            if np.isfinite(tension_N).any():
                masked.append(replace(source, tension_N=tension_N, u_tension_N=u_tension_N, u_common_N=u_common_N))
        else:
            masked.append(source)
    return masked
