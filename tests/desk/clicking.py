"""Where a person would click: on what is truly there in the filmed picture."""

from pathlib import Path

import numpy as np
import pandas as pd

from matchvision.filming import Scene, project_points
from matchvision.filming.camera import lens_of
from matchvision.filming.views import poses_of


def pixel_of(scene: Scene, point_m: tuple[float, float, float]) -> tuple[float, float]:
    """Pixel of a point of the table frame in the scene's first picture."""
    at = np.array([[point_m]], dtype=np.float64)
    column, row = project_points(at, lens_of(scene.camera), poses_of(scene, np.zeros(1)))[0, 0]
    return float(column), float(row)


def marker_pixel(folder: Path, marker: str, number: int) -> tuple[float, float]:
    """Pixel of a marker in a picture, by its name in the tables."""
    row = pd.read_csv(folder / "truth.csv").iloc[number]
    stem = marker.replace(".", "_")
    return float(row[f"{stem}_u"]), float(row[f"{stem}_v"])


def example_of(scene: Scene, colour: str) -> str:
    """A marker that wears a colour: one on a machine's top where there is one, else a bead."""
    for name, machine in scene.machine.items():
        for disc in machine.marker:
            if disc.colour == colour:
                return f"{name}.{disc.name}"
    return next(name for name, _, worn in scene.beads() if worn == colour)
