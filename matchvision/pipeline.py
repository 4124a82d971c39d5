"""The order of the stages: a filmed run in, the whole answer out. Nothing else knows this order.

The first answer is all but the causes, which take longest; they can be added at once or another day. What then goes on
disk, tables, pictures and page, is put there by `matchvision.writing.publishing`.
"""

from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

from matchvision.errors import CannotMeasure, FootageError
from matchvision.footage import LampWatch, describe_footage, hear_start, read_facts
from matchvision.records.camera import Cameras
from matchvision.records.events import Grip
from matchvision.records.footage import RowTiming
from matchvision.records.frames import ClipFacts
from matchvision.records.motion import MatchClock, Motion
from matchvision.records.practice import PracticeResult
from matchvision.records.pull import Pull
from matchvision.records.remedies import Remedies
from matchvision.records.results import Analysis, CauseRow, FirstAnswer, Grounds, StageNote
from matchvision.records.sheet import Run, StartPose
from matchvision.watching import Notice, Progress, load_stages, ready_stages, watch

#: Told what a stage did as soon as it is done.
Finished = Callable[[StageNote], None]
#: Told verdict, share and motion as soon as they are known.
Told = Callable[[FirstAnswer], None]
Record = TypeVar("Record")


def analyze(run: Run, progress: Progress | None = None, notice: Notice | None = None) -> Analysis:
    """From a run sheet and its clip to the whole answer: what happened and who won, then why.

    Raises
    ------
    FootageError, TableError, MarkerError
        Where nothing can be said at all.
    """
    return add_causes(answer_first(run, progress, notice))


def answer_first(
    run: Run,
    progress: Progress | None = None,
    notice: Notice | None = None,
    finished: Finished | None = None,
    told: Told | None = None,
) -> Analysis:
    """From a run sheet and its clip to all but the causes, which take longest and can be added later.

    ``told`` is given verdict, share and motion while all else is still being computed. A stage that
    cannot measure leaves a note that says why and what would help; later stages go on without it.

    Raises
    ------
    FootageError, TableError, MarkerError
        Where nothing can be said at all.
    """
    notes = Notes(finished)
    with ThreadPoolExecutor(1) as aside:
        # The first pictures are decoded meanwhile, which leaves Python to others.
        aside.submit(load_stages)
        facts = read_facts(run.clip)
        refuse_single_picture(facts)
        refuse_late_start(run, facts)
        # Not before it is known that there is something to watch: the first time it takes long.
        readied = aside.submit(ready_stages)
        watched = watch(run, facts, progress, notice, readied.result)
    from matchvision.motion import measure_motion
    from matchvision.verdict import tell_first, weigh_doubts

    notes.add(*watched.notes)
    refuse_broken_clip(run, facts, float(watched.tracks.clip_s[-1]))
    slowed = real_seconds_per_clip_second(run, facts)
    with ThreadPoolExecutor(1) as aside:
        looked = aside.submit(watched.look.look)
        motion = notes.keep(measure_motion(run, watched.tracks, watched.cameras, slowed, watched.rows))
    clock = find_clock(run, motion, facts, watched.lamp, watched.rows)
    faults, footage_note = describe_footage(
        facts,
        motion.clip_s,
        looked.result(),
        camera_moves=run.sheet.camera.moves,
        whole=run.sheet.clock.from_s is None and run.sheet.clock.until_s is None,
        doubled_s=watched.doubled_s,
        recorded_fps=run.sheet.clock.recorded_fps,
        rows=watched.rows,
    )
    notes.lead(footage_note)
    doubts = weigh_doubts(notes.all(), watched.view.camera, run.sheet.table)
    if told is not None:
        told(tell_first(run, motion, clock, doubts))

    # Slow to load, and nothing in the first answer needs them.
    from matchvision.forecast import follow_end, predict_run
    from matchvision.grip import find_events
    from matchvision.pull import measure_pull
    from matchvision.verdict import judge

    pull = notes.keep(attempt("pull", lambda: measure_pull(run, motion, clock)))
    grip = notes.keep(attempt("grip", lambda: find_events(run, motion, pull, clock, watched.cover.look())))
    practice = notes.keep(try_practice(run, watched.cameras, motion, clock, pull, grip))
    starts = start_poses(run, motion, clock)
    forecast = notes.keep(attempt("forecast", lambda: predict_run(run, starts, far_end=follow_end(run, motion, clock))))
    verdict = notes.keep(judge(run, motion, pull, grip, clock, forecast, doubts))

    return Analysis(
        run=run,
        clip=facts,
        faults=faults,
        clock=clock,
        table=watched.view,
        cameras=watched.cameras,
        motion=motion,
        pull=pull,
        grip=grip,
        forecast=forecast,
        verdict=verdict,
        notes=notes.all(),
        practice=practice,
    )


def add_causes(analysis: Analysis, finished: Finished | None = None) -> Analysis:
    """The whole answer from the first one; as it is where no causes are due."""
    if not analysis.verdict.causes_due:
        return analysis
    causes, note = find_causes(analysis.run, analysis.grounds)
    if finished is not None:
        finished(note)
    return analysis.with_causes(causes, note)


def find_causes(run: Run, grounds: Grounds) -> tuple[tuple[CauseRow, ...], StageNote]:
    """Why it went as it went, from what the first answer left behind."""
    from matchvision.verdict import seek_causes

    return seek_causes(run, grounds, start_poses(run, grounds.motion, grounds.clock))


def find_remedies(run: Run, grounds: Grounds, causes: tuple[CauseRow, ...]) -> tuple[Remedies | None, StageNote]:
    """What would have won: the match refitted with its likeliest cause, and played again with the loser changed."""
    from matchvision.remedies import seek_remedies
    from matchvision.verdict import fit_match

    def seek() -> tuple[Remedies, StageNote]:
        fitted = fit_match(run, grounds, start_poses(run, grounds.motion, grounds.clock), causes)
        return seek_remedies(run, grounds.ruling, grounds.grip, fitted)

    return attempt("remedies", seek)


class Notes:
    """What the stages did, in their order; each is told of as soon as it is there."""

    def __init__(self, finished: Finished | None) -> None:
        self._notes: list[StageNote] = []
        self._finished = finished

    def keep(self, given: tuple[Record, StageNote | None]) -> Record:
        """The record out of what a stage gives, its note added."""
        record, note = given
        if note is not None:
            self.add(note)
        return record

    def add(self, *notes: StageNote) -> None:
        """Add and tell."""
        self._notes += notes
        if self._finished is not None:
            for note in notes:
                self._finished(note)

    def lead(self, note: StageNote) -> None:
        """Tell, and put it before all others: the footage can only be described when all of it has been seen."""
        self.add(note)
        self._notes.insert(0, self._notes.pop())

    def all(self) -> tuple[StageNote, ...]:
        """All of them."""
        return tuple(self._notes)


def find_clock(
    run: Run, motion: Motion, facts: ClipFacts, lamp: LampWatch | None, rows: RowTiming | None = None
) -> MatchClock:
    """The match clock: as given, by the start sound or lamp, or by the first motion.

    Raises
    ------
    FootageError
        Where the start cannot be found: without it nothing can be dated.
    """
    from matchvision.motion import set_clock

    clock = run.sheet.clock
    try:
        signal = lamp.signal(rows) if lamp is not None else None
        if clock.start == "sound":
            late = clock.sound_delay_s
            delay_s = None if late is None else (late.value, late.u)
            signal = hear_start(facts, clock.from_s, clock.until_s, number=clock.sound_number, delay_s=delay_s)
        return set_clock(run, motion, facts, signal)
    except CannotMeasure as reason:
        raise FootageError(reason.what, where=f"{run.clip.name}, [clock]", do=reason.do) from reason


def attempt(stage: str, measure: Callable[[], tuple[Record, StageNote]]) -> tuple[Record | None, StageNote]:
    """A stage's record and note; where it cannot measure, None and a note that says why and what would help."""
    try:
        return measure()
    except CannotMeasure as reason:
        advice = (reason.do,) if reason.do else ()
        return None, StageNote(stage, "skipped", f"Skipped, because {reason.what.rstrip('.')}.", advice=advice)


def try_practice(
    run: Run, cameras: Cameras, motion: Motion, clock: MatchClock, pull: Pull | None, grip: Grip | None
) -> tuple[PracticeResult | None, StageNote | None]:
    """What a practice run measures; of a match nothing is said."""
    if run.sheet.run.kind == "match":
        return None, None
    from matchvision.practice import measure_practice

    return attempt("practice", lambda: measure_practice(run, motion, cameras, clock, pull, grip))


def real_seconds_per_clip_second(run: Run, facts: ClipFacts) -> float:
    """How much real time passes in a second of the clip: below 1 for slow motion."""
    return facts.real_per_clip_ratio(run.sheet.clock.recorded_fps)


def refuse_single_picture(facts: ClipFacts) -> None:
    """Raise FootageError where the clip is a photograph: nothing moves in it."""
    if not facts.picture_rate_per_s > 0:
        raise FootageError(
            "the clip holds a single picture, and nothing can be seen to move",
            where=str(facts.path),
            do="give the film of the whole match; `matchvision footage CLIP` tells what a file holds",
        )


def refuse_late_start(run: Run, facts: ClipFacts) -> None:
    """Raise FootageError where the sheet's clock starts after the clip's end: said before the long work, not after."""
    start_s = run.sheet.clock.start_s
    from_s = run.sheet.clock.from_s
    if from_s is not None and 0 < facts.duration_s <= from_s:
        raise FootageError(
            f"this run's part of the clip begins at {from_s:.2f} s, but the clip is only {facts.duration_s:.2f} s long",
            where=f"{run.clip.name}, [clock] from_s",
            do="see where the runs lie in the clip with: matchvision footage CLIP --runs",
        )
    if start_s is not None and 0 < facts.duration_s <= start_s:
        raise FootageError(
            f"the match clock starts at {start_s:.2f} s, but the clip is only {facts.duration_s:.2f} s long",
            where=f"{run.clip.name}, [clock] start_s",
            do="give the clip time in seconds, from the first picture, at which the start signal is given",
        )


def refuse_broken_clip(run: Run, facts: ClipFacts, last_clip_s: float) -> None:
    """Raise FootageError where the file breaks off before its own stated end and before the end of the match.

    A whole clip that stops early is not refused: what it shows is measured, and the verdict says what is missing.
    """
    clock = run.sheet.clock
    match_end_s = float("inf")
    if clock.start_s is not None:
        match_end_s = clock.start_s + clock.duration_s / real_seconds_per_clip_second(run, facts)
    part_end_s = float("inf") if clock.until_s is None else clock.until_s - 0.5
    if last_clip_s < min(facts.stated_duration_s - 0.5, match_end_s, part_end_s):
        raise FootageError(
            f"the clip breaks off at {last_clip_s:.2f} s, though it says it lasts {facts.stated_duration_s:.2f} s",
            where=run.clip.name,
            do="copy the clip from the phone again; if it was cut short there, this run cannot be decided from it",
        )


def start_poses(run: Run, motion: Motion, clock: MatchClock) -> Mapping[str, StartPose]:
    """Where each machine stands when the clock starts: by the sheet, as seen in the nearest frame, or by the rules."""
    poses = {name: machine.start for name, machine in run.sheet.machine.items() if machine.start is not None}
    at = int(abs(motion.clip_s - clock.start_clip_s).argmin())
    for name, moved in motion.machines.items():
        place = (float(moved.x_m[at]), float(moved.y_m[at]))
        heading_deg = float(moved.heading_deg[at])
        if name not in poses and place == place and heading_deg == heading_deg:  # NaN is not equal to itself
            poses[name] = StartPose(at_m=place, heading_deg=heading_deg)
    if run.sheet.rules.hitch_from_centre_m is not None:
        from matchvision.forecast import ruled_starts

        poses = {**ruled_starts(run), **poses}
    return poses
