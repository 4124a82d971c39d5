"""The runs that one clip of a whole evening holds: by what moves, by the start sound and by the start lamp."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final

from matchvision.errors import CannotMeasure
from matchvision.footage.choosing import LOUDER_DB, list_loud
from matchvision.footage.lamp import LampWatch
from matchvision.footage.phases import Phase, PhaseWatch
from matchvision.footage.reading import read_frames
from matchvision.footage.sound import SoundOnset, find_sound_onsets
from matchvision.records.frames import ClipFacts
from matchvision.records.motion import StartSignal
from matchvision.records.sheet import RunSheet

#: What is kept of the clip before and after a run [s].
_LEAD_S, _TAIL_S = 1.5, 1.0
#: A start signal is given at most so long before anything moves [s].
_WAIT_S: Final = 3.0
#: Motion is seen so much too early at most, pictures being compared that lie so far apart [s].
_EARLY_S: Final = 0.15
#: Sounds as loud that follow each other within this belong to one countdown [s].
_COUNT_S: Final = 1.6


@dataclass(frozen=True)
class FoundRun:
    """A run, how it was found, and what its sheet may say.

    Attributes
    ----------
    from_s, until_s : float
        Its part of the clip [s, clip time]; parts of neighbours do not overlap.
    duration_s : float
        As the sheet says, else from the start until all stands still.
    moves : Phase or None
        Where something moves; None for a run of which only the lamp tells.
    sound : SoundOnset or None
        The start sound.
    sounds : tuple of SoundOnset
        All in this part that are about as loud, ``sound`` among them.
    lamp : StartSignal or None
        The start lamp.
    """

    from_s: float
    until_s: float
    duration_s: float
    moves: Phase | None
    sound: SoundOnset | None = None
    sounds: tuple[SoundOnset, ...] = ()
    lamp: StartSignal | None = None

    @property
    def is_signalled(self) -> bool:
        """Whether a start signal was found."""
        return self.sound is not None or self.lamp is not None

    @property
    def sound_number(self) -> int | None:
        """Which of its sounds starts it, None for the only one, or where it is not among the loud ones."""
        if self.sound is None or len(self.sounds) < 2 or self.sound not in self.sounds:
            return None
        return self.sounds.index(self.sound) + 1


@dataclass(frozen=True)
class RunList:
    """Runs in order of time, and clear sounds as loud as a start after which nothing moves."""

    runs: tuple[FoundRun, ...]
    lone_sounds: tuple[SoundOnset, ...]


def find_runs(
    facts: ClipFacts, sheet: RunSheet | None = None, progress: Callable[[int, int], None] | None = None
) -> RunList:
    """Every run in a clip; its pictures and its sound are read once.

    Parameters
    ----------
    sheet : RunSheet, optional
        Any of the evening's sheets: says where the start lamp stands and how long a match lasts.

    Raises
    ------
    FootageError
        The clip cannot be read.

    Notes
    -----
    Checked by: tests/footage/test_runs.py::test_runs_of_a_filmed_evening_are_found
    """
    clock = sheet.clock if sheet is not None else None
    motion = PhaseWatch()
    lamp = None
    if sheet is not None and clock is not None and clock.lamp_at_px is not None:
        readout_s = sheet.camera.readout_s
        lamp = LampWatch(facts, clock.lamp_at_px, clock.lamp_radius_px, readout_s, clock.recorded_fps)
    total = max(1, round(facts.duration_s * facts.frame_rate_per_s))
    for done, frame in enumerate(read_frames(facts), start=1):
        if progress is not None and done % 30 == 0:
            progress(min(done, total), total)
        motion.see(frame)
        if lamp is not None:
            lamp.see(frame)
    try:
        sounds = find_sound_onsets(facts)
    except CannotMeasure:  # a clip without sound
        sounds = ()
    lit = lamp.lightings() if lamp is not None else ()
    return join_signs(motion.phases(), sounds, lit, facts.duration_s, clock.duration_s if clock is not None else None)


def join_signs(
    phases: Sequence[Phase],
    sounds: Sequence[SoundOnset],
    lightings: Sequence[StartSignal],
    clip_length_s: float,
    duration_s: float | None = None,
) -> RunList:
    """Runs from stretches of motion and from start signals, each signal given to the motion that follows it.

    The lamp starts a run whether anything moves or not. A sound starts one if something moves soon after: of several
    about as loud the last before the motion, else the first within it.
    """
    runs: list[FoundRun] = []
    free = list(lightings)
    for phase in phases:
        lamp = next((lit for lit in free if _belongs(lit.clip_s, phase)), None)
        free = [lit for lit in free if not _belongs(lit.clip_s, phase)]
        runs.append(FoundRun(0.0, 0.0, 0.0, phase, _pick_sound(sounds, phase), lamp=lamp))
    runs += [FoundRun(0.0, 0.0, 0.0, None, lamp=lit) for lit in free]
    runs.sort(key=_start_s)
    begins_s = [_begin_s(run, sounds) for run in runs]
    ends_s = [_end_s(run, duration_s) for run in runs]
    cut: list[FoundRun] = []
    for k, run in enumerate(runs):
        before_s = ends_s[k - 1] if k > 0 else None
        after_s = begins_s[k + 1] if k + 1 < len(runs) else None
        from_s, until_s = max(0.0, begins_s[k] - _LEAD_S), min(clip_length_s, ends_s[k] + _TAIL_S)
        # Half a pause at most goes to each neighbour, so that no run holds a part of another.
        if before_s is not None:
            from_s = max(from_s, (before_s + begins_s[k]) / 2)
        if after_s is not None:
            until_s = min(until_s, (ends_s[k] + after_s) / 2)
        within = _louder_than_rest([s for s in sounds if from_s <= s.clip_s <= until_s])
        lasts_s = duration_s if duration_s is not None else ends_s[k] - _start_s(run)
        cut.append(replace(run, from_s=from_s, until_s=until_s, duration_s=lasts_s, sounds=within))
    lone = [s for s in list_loud(sounds) if not any(run.from_s <= s.clip_s <= run.until_s for run in cut)]
    return RunList(tuple(cut), tuple(lone))


def _belongs(clip_s: float, phase: Phase) -> bool:
    return phase.from_s - _WAIT_S <= clip_s <= phase.until_s


def _pick_sound(sounds: Sequence[SoundOnset], phase: Phase) -> SoundOnset | None:
    loud = _louder_than_rest([s for s in sounds if _belongs(s.clip_s, phase)])
    before = [s for s in loud if s.clip_s <= phase.from_s + _EARLY_S]
    return before[-1] if before else loud[0] if loud else None


def _louder_than_rest(sounds: Sequence[SoundOnset]) -> tuple[SoundOnset, ...]:
    """Those about as loud as the loudest of these."""
    loudest_dB = max((s.loudness_dB for s in sounds), default=0.0)
    kept = {s.clip_s for s in list_loud([replace(s, loudness_dB=s.loudness_dB - loudest_dB) for s in sounds])}
    return tuple(s for s in sounds if s.clip_s in kept)


def _start_s(run: FoundRun) -> float:
    if run.lamp is not None:
        return run.lamp.clip_s
    if run.sound is not None:
        return run.sound.clip_s
    return run.moves.from_s if run.moves is not None else 0.0


def _begin_s(run: FoundRun, sounds: Sequence[SoundOnset]) -> float:
    """Where the first sign of a run lies: motion, lamp, or the first sound of a countdown."""
    begin_s = min(_start_s(run), run.moves.from_s if run.moves is not None else _start_s(run))
    if run.sound is not None:
        first_s = run.sound.clip_s
        for sound in reversed([s for s in sounds if s.clip_s < first_s]):
            if abs(sound.loudness_dB - run.sound.loudness_dB) < LOUDER_DB and first_s - sound.clip_s < _COUNT_S:
                first_s = sound.clip_s
        begin_s = min(begin_s, first_s)
    return begin_s


def _end_s(run: FoundRun, duration_s: float | None) -> float:
    """Where a run ends: when all stands still, but not before its time is over."""
    still_s = run.moves.until_s if run.moves is not None else _start_s(run)
    return max(still_s, _start_s(run) + (duration_s or 0.0))
