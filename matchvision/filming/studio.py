"""Films a scene: clip, run sheet, hang test and truth in one folder."""

from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from matchvision.errors import OutputError
from matchvision.filming.course import play
from matchvision.filming.papers import hang_test, run_sheet
from matchvision.filming.pictures import Studio, exposures
from matchvision.filming.places import place_everything
from matchvision.filming.recording import Sensor, develop, write_clip
from matchvision.filming.scene import Scene
from matchvision.filming.sound import sound_track
from matchvision.filming.truth import frame_times, truth_facts, truth_table, write_truth
from matchvision.filming.views import project


def film(scene: Scene, folder: Path, progress: Callable[[int, int], None] | None = None) -> None:
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

    Raises
    ------
    OutputError
        The folder cannot be written.

    Notes
    -----
    Checked by: tests/filming/test_film.py::test_clip_has_its_pictures_at_their_times
    """
    course = play(scene)
    places = place_everything(scene, course, frame_times(scene))
    views = project(scene, course, places)
    at_end = place_everything(scene, course, np.array([scene.end_s]))
    try:
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "run.toml").write_text(run_sheet(scene), encoding="utf-8")
        if scene.rope.link is not None:
            (folder / "hang.csv").write_text(hang_test(scene.rope.link, scene.seed), encoding="utf-8")
        write_truth(folder, truth_table(scene, course, places, views), truth_facts(scene, course, views, at_end))
    except OSError as error:
        raise OutputError(str(error), where=str(folder), do="choose a folder that can be written") from error

    def counted(pictures: Iterator[NDArray[np.uint8]]) -> Iterator[NDArray[np.uint8]]:
        for done, picture in enumerate(pictures, 1):
            yield picture
            if progress is not None:
                progress(done, scene.frames)

    generator = np.random.default_rng([scene.seed, 4])
    sensor = Sensor(scene.camera.size_px, scene.camera.noise_levels, generator)
    shown = exposures(Studio(scene, course, places, views), scene.frames)
    part = folder / "clip.mp4.part"
    try:
        sound = None
        if scene.sound is not None:
            sound = sound_track(scene, course, scene.frames / scene.camera.frames_per_s)
        write_clip(part, counted(develop(shown, sensor)), scene.camera, sound)
        part.replace(folder / "clip.mp4")
    finally:
        part.unlink(missing_ok=True)
