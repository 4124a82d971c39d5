"""A short invented match, filmed small, whose sheet knows neither tags nor colours."""

import re
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from matchvision.filming import Scene, demo_scene, film


def small_scene(seed: int = 5, *, length_s: float = 1.2, size_px: tuple[int, int] = (960, 540)) -> Scene:
    """The demo's match, cut short, without tags on the table."""
    scene = demo_scene(seed)
    ratio = size_px[0] / 1280
    camera = replace(
        scene.camera,
        size_px=size_px,
        f_px=(992.0 * ratio, 993.5 * ratio),
        centre_px=None,
        frames_per_s=30.0,
        subframes=1,
        bitrate=2_500_000,
    )
    table = replace(scene.table, tag=())
    clock = replace(scene.clock, start_s=0.4, duration_s=length_s, after_s=0.2)
    return replace(scene, camera=camera, table=table, clock=clock, thing=())


def film_small(folder: Path, scene: Scene | None = None) -> Path:
    """Film it; the sheet loses its colours and forecasts, as a person who comes to the desk would have it."""
    film(scene or small_scene(), folder)
    sheet = folder / "run.toml"
    sheet.write_text(bare(sheet.read_text(encoding="utf-8")), encoding="utf-8")
    return folder


def filmed_once(places: pytest.TempPathFactory) -> Path:
    """The small match, filmed once for all tests that run together; nobody writes into it, they copy it."""
    return _film_beneath(places.getbasetemp())


@cache
def _film_beneath(place: Path) -> Path:
    return film_small(place / "filmed-once" / "run")


def bare(text: str) -> str:
    """A sheet without colours, forecasts and the sprung link."""
    text = re.sub(r"\[(?:colour|forecast)\.[^\]]*\]\n(?:(?!\[).*\n?)*", "", text)
    return re.sub(r"\[rope\.link\]\n(?:(?!\[).*\n?)*", "", text)
