"""Films scenes: clip, run sheet, hang test and truth; one run in one folder, or an evening of runs in one clip."""

import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from matchvision.errors import OutputError
from matchvision.filming.arrays import Array
from matchvision.filming.course import Course, play
from matchvision.filming.evening import check_evening, one_after_the_other
from matchvision.filming.papers import hang_test, run_sheet
from matchvision.filming.pictures import Exposure, Studio, exposures
from matchvision.filming.places import Places, place_everything
from matchvision.filming.recording import Sensor, SOUND_RATE_Hz, develop, write_clip
from matchvision.filming.scene import Scene
from matchvision.filming.sound import sound_track
from matchvision.filming.truth import frame_times, truth_facts, truth_table, write_truth
from matchvision.filming.views import Views, project

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class _Shot:
    """A scene, what happens in it, and what the camera sees."""

    scene: Scene
    course: Course
    places: Places
    views: Views

    @classmethod
    def of(cls, scene: Scene, course: Course | None = None) -> "_Shot":
        course = course or play(scene)
        places = place_everything(scene, course, frame_times(scene))
        return cls(scene, course, places, project(scene, course, places))

    def exposures(self, backdrop_seed: int) -> Iterator[Exposure]:
        """Its pictures in linear light; table and floor look as ``backdrop_seed`` makes them."""
        studio = Studio(replace(self.scene, seed=backdrop_seed), self.course, self.places, self.views)
        return exposures(studio, self.scene.frames)

    def write(self, folder: Path, clip: str) -> None:
        """Run sheet, hang test and truth."""
        scene = self.scene
        at_end = place_everything(scene, self.course, np.array([scene.end_s]))
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "run.toml").write_text(run_sheet(scene, clip), encoding="utf-8")
        if scene.rope.link is not None:
            (folder / "hang.csv").write_text(hang_test(scene.rope.link, scene.seed), encoding="utf-8")
        table = truth_table(scene, self.course, self.places, self.views)
        write_truth(folder, table, truth_facts(scene, self.course, self.views, at_end))


def film(scene: Scene, folder: Path, progress: Progress | None = None, *, course: Course | None = None) -> None:
    """Film a scene.

    Parameters
    ----------
    scene : Scene
        What happens and how it looks.
    folder : Path
        Where ``clip.mp4``, ``run.toml``, ``truth.csv``, ``truth.json`` and, for a rope with a link, ``hang.csv`` go;
        made if absent. Files of these names are replaced.
    progress : callable, optional
        Told the number of pictures done and of all pictures.
    course : Course, optional
        What happens, if it is not to be integrated here; from the clip's first picture to 0.1 s after its last.

    Raises
    ------
    OutputError
        The folder cannot be written.

    Notes
    -----
    Checked by: tests/filming/test_film.py::test_clip_has_its_pictures_at_their_times
    """
    shot = _Shot.of(scene, course)
    _written(folder, lambda: shot.write(folder, "clip.mp4"))
    sound = _sound([shot], scene.clock.from_s + scene.frames / scene.camera.frames_per_s)
    _record(folder, scene, shot.exposures(scene.seed), scene.frames, sound, progress)


def film_evening(
    scenes: Sequence[Scene], folder: Path, *, pause_s: float = 2.0, progress: Progress | None = None
) -> tuple[Scene, ...]:
    """Film several runs one after the other in one clip, by one camera that runs on.

    Parameters
    ----------
    scenes : sequence of Scene
        Each with a name of its own; times of the first picture on, as for a single clip. Cameras must be equal but for
        their ``bump``: a knock before that run. All runs have the first one's grain of table and floor.
    folder : Path
        Gets ``clip.mp4``, ``evening.json`` and for each run a folder of its name with sheet, truth and hang test. All
        times in them are those of the whole clip.
    pause_s : float [s]
        Between one run's last picture and the next one's first. In its first half everything stands as the run left it,
        in the second half as the next run begins; in between the machines are put back.
    progress : callable, optional
        Told the number of pictures done and of all pictures.

    Returns
    -------
    tuple of Scene
        The scenes as filmed, with their times in the clip.

    Raises
    ------
    SheetError
        The scenes do not fit into one clip.
    OutputError
        The folder cannot be written.

    Notes
    -----
    Checked by: tests/filming/test_evening.py::test_every_run_of_the_evening_is_where_its_truth_says
    """
    check_evening(scenes)
    pause = round(pause_s * scenes[0].camera.frames_per_s)
    scenes = one_after_the_other(scenes, pause)
    shots = [_Shot.of(scene) for scene in scenes]

    def write() -> None:
        for shot in shots:
            shot.write(folder / shot.scene.name, "../clip.mp4")
        facts: list[dict[str, Any]] = [
            {"name": s.name, "from_s": s.clock.from_s, "until_s": s.last_s, "start_s": s.clock.start_s,
             "camera_bumped": s.camera.bump is not None and (k == 0 or s.camera.bump != scenes[k - 1].camera.bump)}
            for k, s in enumerate(scenes)
        ]  # fmt: skip
        (folder / "evening.json").write_text(json.dumps({"runs": facts}, indent=1) + "\n", encoding="utf-8")

    _written(folder, write)

    def shown() -> Iterator[Exposure]:
        last: Exposure | None = None
        for shot in shots:
            pictures = shot.exposures(scenes[0].seed)
            first = next(pictures)
            if last is not None:
                yield from [last] * (pause // 2) + [first] * (pause - pause // 2)
            yield first
            last = first
            for last in pictures:
                yield last

    frames = sum(scene.frames for scene in scenes) + pause * (len(scenes) - 1)
    sound = _sound(shots, frames / scenes[0].camera.frames_per_s)
    _record(folder, scenes[0], shown(), frames, sound, progress)
    return tuple(scenes)


def _written(folder: Path, write: Callable[[], None]) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        write()
    except OSError as error:
        raise OutputError(str(error), where=str(folder), do="choose a folder that can be written") from error


def _sound(shots: list[_Shot], until_s: float) -> Array | None:
    """The whole clip's sound, if any of its runs has a start sound."""
    if all(shot.scene.sound is None for shot in shots):
        return None
    marks = [0.0, *(shot.scene.clock.from_s for shot in shots[1:]), until_s]
    cuts = [round(mark * SOUND_RATE_Hz) for mark in marks]
    parts = [sound_track(s.scene, s.course, a, b) for s, a, b in zip(shots, cuts[:-1], cuts[1:], strict=True)]
    return np.concatenate(parts)


def _record(
    folder: Path, scene: Scene, shown: Iterator[Exposure], frames: int, sound: Array | None, progress: Progress | None
) -> None:
    """Write the clip, whole or not at all."""

    def counted(pictures: Iterator[NDArray[np.uint8]]) -> Iterator[NDArray[np.uint8]]:
        for done, picture in enumerate(pictures, 1):
            yield picture
            if progress is not None:
                progress(done, frames)

    generator = np.random.default_rng([scene.seed, 4])
    sensor = Sensor(scene.camera.size_px, scene.camera.noise_levels, generator)
    part = folder / "clip.mp4.part"
    try:
        write_clip(part, counted(develop(shown, sensor)), scene.camera, sound)
        part.replace(folder / "clip.mp4")
    finally:
        part.unlink(missing_ok=True)
