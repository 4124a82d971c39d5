"""Synthetic clips with exact truth, made by means that the analysis does not share."""

from matchvision.filming.camera import project_points
from matchvision.filming.course import Course, play
from matchvision.filming.demo import demo_scene
from matchvision.filming.papers import hang_test, run_sheet
from matchvision.filming.places import Places, place_everything
from matchvision.filming.scene import Scene
from matchvision.filming.sheet import read_scene
from matchvision.filming.studio import film, film_evening
from matchvision.filming.truth import frame_times, truth_facts, truth_table
from matchvision.filming.views import Views, project

__all__ = [
    "Course",
    "Places",
    "Scene",
    "Views",
    "demo_scene",
    "film",
    "film_evening",
    "frame_times",
    "hang_test",
    "place_everything",
    "play",
    "project",
    "project_points",
    "read_scene",
    "run_sheet",
    "truth_facts",
    "truth_table",
]
