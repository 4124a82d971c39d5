"""Whether the footage is good enough, and what would make it better."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from matchvision.footage.capture import SAME_RATE_SHARE, is_about_rates
from matchvision.footage.timing import count_stored, scan_times
from matchvision.footage.weighing import contradict_stillness, weigh_pictures
from matchvision.records.footage import PictureLook, RowTiming
from matchvision.records.frames import ClipFacts, FootageFault
from matchvision.records.results import Contradiction, StageNote
from matchvision.uncertainty import format_interval

#: A step so much longer than the median means that a picture was dropped.
DROPPED_STEP_RATIO = 1.6
#: Rates below this blur quick wheels and hide the start of slip [pictures a second].
LOW_RATE_PER_S = 24.0
#: Upright pictures smaller than this leave markers of a few pixels.
SMALL_SIDE_PX = 700
#: Spread of steps about the median from which the rate counts as uneven.
UNEVEN_STEP_RATIO = 0.1


def describe_footage(
    facts: ClipFacts,
    clip_s: npt.NDArray[np.float64],
    look: PictureLook | None = None,
    *,
    camera_moves: bool = False,
    whole: bool = True,
    doubled_s: Sequence[float] = (),
    recorded_fps: float | None = None,
    rows: RowTiming | None = None,
) -> tuple[tuple[FootageFault, ...], StageNote]:
    """Weaknesses of the footage and the sentence about how it was read.

    Parameters
    ----------
    facts : ClipFacts
    clip_s : (n,) float array
        Presentation times of the frames that were read [s].
    look : PictureLook, optional
        What some of the pictures show.
    camera_moves : bool
        Whether the camera is meant to move.
    whole : bool
        False where only a part of the clip was read.
    doubled_s : sequence of float
        Those of the frames that only repeat the one before [s].
    recorded_fps : float, optional
        The rate of recording that the sheet gives; it goes before the camera's own.
    rows : RowTiming, optional
        How a rolling shutter reads the picture, as far as it is known.
    """
    clip_s = np.asarray(clip_s, dtype=np.float64)
    steps_s = np.diff(clip_s)
    median_s = float(np.median(steps_s)) if len(steps_s) else float("nan")
    faults = (
        *_tell_recording(facts, recorded_fps),
        *_step_faults(clip_s, steps_s, median_s),
        *_doubled_faults(doubled_s),
        *(_missing_faults(facts, len(clip_s)) if whole else ()),
        *_picture_faults(facts),
    )
    rate = 1 / median_s if median_s > 0 else float("nan")
    if look is not None:
        faults = (*faults, *weigh_pictures(look, rate, camera_moves=camera_moves))
    sentence = (
        f"Read {len(clip_s)} pictures of {facts.width_px} × {facts.height_px} pixels ({facts.codec}) over "
        f"{clip_s[-1] if len(clip_s) else 0.0:.2f} s, timed by their presentation times; median step "
        f"{1e3 * median_s:.2f} ms ({rate:.1f} pictures a second)."
    )
    if facts.rotation_deg or facts.mirrored:
        turned = [f"turned by {facts.rotation_deg}° counter-clockwise"] if facts.rotation_deg else []
        mirrored = ["mirrored back"] if facts.mirrored else []
        sentence += f" The pictures were {' and '.join(mirrored + turned)} as the file asks."
    ratio = facts.real_per_clip_ratio(recorded_fps)
    recorded = facts.recorded_rate_per_s if recorded_fps is None else recorded_fps
    if ratio != 1:
        told = "the sheet" if recorded_fps is not None else "the camera's own note in the file"
        sentence += (
            f" Slow motion by {told}: recorded at {recorded:.4g} pictures a second, "
            f"so that a second of the clip is {ratio:.4f} s."
        )
    if rows is not None:
        sentence += " " + tell_rows(rows)
    note = StageNote(
        stage="footage",
        status="partly" if any(f.weight != "remark" for f in faults) else "done",
        sentence=sentence,
        warnings=tuple(f"{f.what}: {f.consequence}" for f in faults if f.weight != "remark"),
        advice=tuple(dict.fromkeys(f.do for f in faults)),
        contradictions=(*contradict_stillness(look, camera_moves=camera_moves), *_contradict_rate(facts, recorded_fps)),
    )
    return faults, note


def tell_rows(rows: RowTiming) -> str:
    """How the pictures were read, and what follows for what moves."""
    if not rows.known:
        return (
            f"How long a rolling shutter takes from the first row to the last is not known: {rows.reason}. "
            f"Anything up to {1000 * np.sqrt(3) * rows.u_s:.1f} ms is in the uncertainty of places that move."
        )
    line, sense = ("row", "column")[rows.along == 0], " backwards" if rows.backwards else ""
    took = f"{1000 * rows.readout_s:.1f} ms"
    if rows.u_s > 0:
        took = format_interval(1000 * rows.readout_s, 1000 * rows.u_s, "ms") + " (95 %)"
    read = f"The shutter read the picture {line} by {line}{sense} within {took}, {rows.source}"
    return f"{read}; each {line} has its own time."


def _step_faults(
    clip_s: npt.NDArray[np.float64], steps_s: npt.NDArray[np.float64], median_s: float
) -> tuple[FootageFault, ...]:
    faults = []
    if len(steps_s) and median_s > 0:
        long = np.flatnonzero(steps_s > DROPPED_STEP_RATIO * median_s)
        if len(long):
            lost = int(np.sum(np.rint(steps_s[long] / median_s) - 1))
            worst = long[int(np.argmax(steps_s[long]))]
            faults.append(
                FootageFault(
                    what=f"about {lost} picture{'s are' if lost > 1 else ' is'} missing in {len(long)} "
                    f"gap{'s' * (len(long) > 1)}, the longest "
                    f"{1e3 * steps_s[worst]:.0f} ms at {clip_s[worst]:.2f} s",
                    consequence="quick events inside a gap are not seen and the uncertainty grows there",
                    do="free storage and close other programs on the phone before filming",
                )
            )
        usual = steps_s[steps_s <= DROPPED_STEP_RATIO * median_s]
        if np.std(usual) > UNEVEN_STEP_RATIO * median_s:
            faults.append(
                FootageFault(
                    what=f"the picture rate is uneven (steps {1e3 * usual.min():.1f} to {1e3 * usual.max():.1f} ms)",
                    consequence="true times are used, so nothing is wrong; a steady rate measures speed better",
                    do="fix the frame rate in the camera's settings and give the scene more light",
                    weight="remark",
                )
            )
        if 1 / median_s < LOW_RATE_PER_S:
            faults.append(
                FootageFault(
                    what=f"only {1 / median_s:.1f} pictures a second",
                    consequence="quick wheels and the onset of slip are poorly resolved",
                    do="film at 60 pictures a second, at least 30",
                )
            )
    return tuple(faults)


def _doubled_faults(doubled_s: Sequence[float]) -> tuple[FootageFault, ...]:
    if not len(doubled_s):
        return ()
    some = "1 picture was" if len(doubled_s) == 1 else f"{len(doubled_s)} pictures were"
    return (
        FootageFault(
            what=f"{some} shown twice, the first at {doubled_s[0]:.2f} s",
            consequence="the repeats show an earlier moment than their time says; nothing was measured in them",
            do="use the file as the camera wrote it, and close other programs on the phone before filming",
        ),
    )


def _tell_recording(facts: ClipFacts, recorded_fps: float | None) -> tuple[FootageFault, ...]:
    """The container's faults; where the sheet gives the rate of recording, it settles what the camera says of it."""
    if recorded_fps is None:
        return facts.faults
    others = tuple(f for f in facts.faults if not is_about_rates(f))
    said = facts.recorded_rate_per_s
    if not np.isfinite(said) or abs(said - recorded_fps) < SAME_RATE_SHARE * said:
        return others
    return (
        *others,
        FootageFault(
            what=f"the sheet says recorded at {recorded_fps:.4g} pictures a second, the camera says {said:.4g}",
            consequence=f"the sheet was believed; if the camera is right, all speeds are {said / recorded_fps:.3g} "
            "times as high",
            do=f"check [clock] recorded_fps; leave it out to take the camera's {said:.4g}",
        ),
    )


def _contradict_rate(facts: ClipFacts, recorded_fps: float | None) -> tuple[Contradiction, ...]:
    """The camera's own note of its rate against the sheet's, on which all times hang, the clock's end among them."""
    said = facts.recorded_rate_per_s
    if recorded_fps is None or not np.isfinite(said) or abs(said - recorded_fps) < SAME_RATE_SHARE * said:
        return ()
    shown = (
        f"The camera's own note says that it recorded {said:.4g} pictures a second, the sheet {recorded_fps:.4g}; the "
        f"sheet was believed. If the camera is right, the clock ran {said / recorded_fps:.3g} times as long in the clip"
    )
    do = f"check recorded_fps under [clock]; leave it out to take the camera's {said:.4g}"
    return (Contradiction("[clock] recorded_fps", shown, do, covered=True),)


def _missing_faults(facts: ClipFacts, read: int) -> tuple[FootageFault, ...]:
    times = scan_times(facts.path)
    promised = max(len(times.shown_s), times.stated)
    if read >= promised:
        return ()
    if read >= len(times.shown_s):
        # What an edit list hides is neither damaged nor missing.
        stored = count_stored(facts.path)
        if stored >= times.stated:
            return ()
        promised = times.stated - (stored - read)
    return (
        FootageFault(
            what=f"{promised - read} of {promised} pictures are damaged or missing at the file's end",
            consequence="only what could be decoded was measured",
            do="copy the clip from the phone again, in full",
        ),
    )


def _picture_faults(facts: ClipFacts) -> tuple[FootageFault, ...]:
    faults = []
    if facts.transfer in {"pq", "hlg"}:
        faults.append(
            FootageFault(
                what=f"the clip is HDR ({facts.transfer.upper()})",
                consequence="the sheet's colours were carried into the clip's, where they are paler and less sure",
                do="switch HDR video off in the camera's settings",
            )
        )
    if min(facts.width_px, facts.height_px) < SMALL_SIDE_PX:
        faults.append(
            FootageFault(
                what=f"the picture is small ({facts.width_px} × {facts.height_px} pixels)",
                consequence="markers span few pixels and their places are less sure",
                do="film at 1920 × 1080 pixels",
            )
        )
    return tuple(faults)
