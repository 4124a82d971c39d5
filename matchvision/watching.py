"""Watching a clip: a first look for the table, then one pass that lends each frame to all who look."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from dataclasses import dataclass
from importlib import import_module
from typing import TYPE_CHECKING, Final

from matchvision.errors import TableError
from matchvision.footage import (
    BandWatch,
    LampWatch,
    LookWatch,
    first_look,
    look_at_scene,
    look_throughout,
    read_frames,
)
from matchvision.footage.ahead import read_ahead
from matchvision.footage.freeing import freeing_pictures
from matchvision.records.camera import Cameras, Scene, TableView
from matchvision.records.footage import RowTiming
from matchvision.records.frames import ClipFacts, Frame
from matchvision.records.results import StageNote
from matchvision.records.sheet import Run
from matchvision.records.tracks import Tracks

if TYPE_CHECKING:
    from matchvision.table import CoverWatch

#: Told on long work: what is being done, how much is done, how much there is in all.
Progress = Callable[[str, int, int], None]
#: Told in a sentence what a person should know before the long work is done.
Notice = Callable[[str], None]
#: No run takes so long [s], and what comes after watching takes some 150 MB of memory for each minute.
LONG_S: Final = 300.0


@dataclass(frozen=True, eq=False)
class Watched:
    """What one pass over the clip gives; ``look`` and ``cover`` have yet to make something of what they saw."""

    view: TableView
    cameras: Cameras
    tracks: Tracks
    notes: tuple[StageNote, ...]
    look: LookWatch
    doubled_s: tuple[float, ...]
    lamp: LampWatch | None
    rows: RowTiming
    cover: "CoverWatch"


def load_stages() -> None:
    """Load the stages that follow the first look, which takes a while: for while pictures are decoded."""
    for stage in ("table", "markers", "motion"):
        import_module(f"matchvision.{stage}")


def ready_stages() -> None:
    """Have those stages loaded and their kernels compiled."""
    load_stages()
    from matchvision.markers import ready_kernels

    ready_kernels()


def watch(
    run: Run,
    facts: ClipFacts,
    progress: Progress | None,
    notice: Notice | None = None,
    ready: Callable[[], None] = ready_stages,
) -> Watched:
    """A first look for the table, then one pass that lends each frame to the camera's and the markers' observers.

    ``ready`` is called between the two: it returns when the stages that follow are loaded.
    """
    part = (run.sheet.clock.from_s, run.sheet.clock.until_s)
    view, table_note, look = look_first(run, facts, ready)

    from matchvision.markers import MarkerTracker, mend_tracks, plan_markers
    from matchvision.table import CameraFollower, CoverWatch

    follower = CameraFollower(view, run.sheet)
    tracker = MarkerTracker(plan_markers(run), run.sheet, facts, notice)
    cover = CoverWatch(run.sheet.table, moves=run.sheet.camera.moves)
    length_s = min(facts.duration_s, part[1] or facts.duration_s) - (part[0] or 0.0)
    total = max(1, round(length_s * facts.frame_rate_per_s))
    if notice is not None and length_s > LONG_S:
        notice(
            f"this run's part of the clip is {length_s / 60:.0f} minutes long, and all of it is measured; from_s and "
            "until_s under [clock] say where the run lies in it, and `matchvision footage CLIP --runs` finds that out"
        )
    lamp, bands = watch_lamp(run, facts), BandWatch(facts, run.sheet.clock.recorded_fps)
    doubled_s: list[float] = []
    with closing(read_ahead(read_frames(facts, *part))) as frames:
        for done, frame in enumerate(frames, start=1):
            look.see(frame)
            bands.see(frame)
            camera = follower.see(frame)
            tracker.see(frame, camera)
            cover.see(frame, camera)
            if lamp is not None:
                lamp.see(frame)
            doubled_s += [frame.clip_s] if frame.doubled else []
            if progress is not None and done % 10 == 0:
                progress("watching the clip", min(done, total), total)
    with freeing_pictures():
        # The decoder's memory goes back before anything large is joined.
        tracks, markers_note = tracker.tracks(needed=not run.mends.sets_points)
    tracks, mends_note = mend_tracks(tracks, run.mends, run.sheet, facts.sha256)
    camera_notes = (follower.note(),) if run.sheet.camera.moves else ()
    notes = (table_note, *camera_notes, markers_note, *([mends_note] if mends_note else []))
    rows = bands.timing(run.sheet.camera.readout_s)
    return Watched(view, follower.cameras(), tracks, notes, look, tuple(doubled_s), lamp, rows, cover)


def look_first(run: Run, facts: ClipFacts, ready: Callable[[], None]) -> tuple[TableView, StageNote, LookWatch]:
    """The table, and what single pictures show of the footage.

    The pass begins only after it, so that its pictures and those of the first look are not in memory together.
    """
    from_s, until_s = run.sheet.clock.from_s, run.sheet.clock.until_s
    with freeing_pictures(), ThreadPoolExecutor(1) as aside:
        looked = first_look(facts, from_s=from_s, until_s=until_s)
        scene = look_at_scene(looked, run.calibration)
        ready()
        looking = aside.submit(LookWatch, looked, facts, until_s)
        view, table_note = find_table_first(run, facts, looked, scene)
        look = looking.result()
        # Pictures in memory, which the pass has better use for.
        del looked, looking
    return view, table_note, look


def find_table_first(
    run: Run, facts: ClipFacts, looked: tuple[Frame, ...], scene: Scene
) -> tuple[TableView, StageNote]:
    """The table from a first look; where that does not show it, and did not get about, from all over the clip."""
    from matchvision.table import find_or_hold_table

    try:
        return find_or_hold_table(looked, run.sheet, run.lens, run.calibration, scene)
    except TableError:
        further = look_throughout(facts, looked, run.sheet.clock.from_s, run.sheet.clock.until_s)
        if not further:
            raise
    return find_or_hold_table(further, run.sheet, run.lens, run.calibration, scene)


def watch_lamp(run: Run, facts: ClipFacts) -> LampWatch | None:
    """An observer of the start lamp, where the sheet names one."""
    clock = run.sheet.clock
    if clock.start != "lamp" or clock.lamp_at_px is None:
        return None
    readout_s = run.sheet.camera.readout_s
    return LampWatch(facts, clock.lamp_at_px, clock.lamp_radius_px, readout_s, clock.recorded_fps)
