"""Points of the table at the desk: tried, kept, and what a person wrote stays as it is."""

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from matchvision.desk import OpenDesk
from matchvision.filming import project_points
from matchvision.filming.camera import lens_of
from matchvision.filming.views import poses_of
from matchvision.sheets import load_draft
from tests.desk.filmed import small_scene
from tests.desk.talking import ask, post


def click_points(desk: OpenDesk, count: int, noise_px: float = 0.5) -> list[dict[str, Any]]:
    """Known points where they truly are in the picture, as a steady hand would set them."""
    scene = small_scene()
    noise = np.random.default_rng(3)
    clicked = []
    for known in ask(desk, "/api/state").data["table"]["known"][:count]:
        at = np.array([[[*known["at_m"], 0.0][:3]]])
        pixel = project_points(at, lens_of(scene.camera), poses_of(scene, np.zeros(1)))[0, 0]
        pixel = pixel + noise.normal(0.0, noise_px, 2)
        clicked.append({**known, "pixel": [float(v) for v in pixel], "u_px": noise_px})
    return clicked


def test_points_are_tried_without_a_trace(desk: OpenDesk, folder: Path) -> None:
    answer = post(desk, "/api/points", {"points": click_points(desk, 6), "keep": False}).data
    assert answer["found"]
    assert not (folder / "desk.toml").exists()
    assert len(answer["points"]) == 6
    expected = {p["name"]: p["pixel"] for p in answer["expected"]}
    assert len(expected) == 9


def test_more_points_and_surer_clicks_make_the_places_surer(desk: OpenDesk) -> None:
    points = click_points(desk, 8)
    worst = []
    for count, u_px in ((4, 2.0), (8, 2.0), (8, 0.5)):
        sent = [{**point, "u_px": u_px} for point in points[:count]]
        grid = np.array(post(desk, "/api/points", {"points": sent}).data["map"]["U95_m"], dtype=np.float64)
        worst.append(np.nanmax(grid))
    assert worst[0] > worst[1] > worst[2], worst


def test_too_few_points_are_said_with_what_to_do(desk: OpenDesk) -> None:
    answer = post(desk, "/api/points", {"points": click_points(desk, 3)}).data
    assert not answer["found"]
    assert "at least 4" in answer["what"]
    assert answer["do"]


def test_kept_points_stand_in_a_file_of_their_own(desk: OpenDesk, folder: Path) -> None:
    wrote = (folder / "run.toml").read_bytes()
    points = click_points(desk, 6)
    assert post(desk, "/api/points", {"points": points, "keep": True}).status == 200
    assert (folder / "run.toml").read_bytes() == wrote
    kept = tomllib.loads((folder / "desk.toml").read_text(encoding="utf-8"))
    assert [p["name"] for p in kept["table"]["point"]] == [p["name"] for p in points]
    assert len(load_draft(folder).run.sheet.table.point) == 6
    assert post(desk, "/api/start", {"start_s": 0.3}).status == 200
    assert len(load_draft(folder).run.sheet.table.point) == 6
    assert post(desk, "/api/start", {"start_s": None}).data["clock"]["start_s"] == 0.4
    assert sorted(p.name for p in folder.iterdir()) == ["clip.mp4", "desk.toml", "run.toml"]


def test_a_sheet_that_would_have_faults_is_not_written(desk: OpenDesk, folder: Path) -> None:
    points = [{**point, "at_m": [9.0, 0.0]} for point in click_points(desk, 4)]
    answer = post(desk, "/api/points", {"points": points, "keep": True})
    assert answer.status == 422
    assert "beyond the table" in answer.data["faults"][0]
    assert not (folder / "desk.toml").exists()


def test_pictures_are_those_of_the_clip(desk: OpenDesk) -> None:
    import cv2

    state = ask(desk, "/api/state").data
    picture = ask(desk, "/api/picture/10")
    assert picture.headers["content-type"] == "image/png"
    shown = cv2.imdecode(np.frombuffer(picture.body, dtype=np.uint8), cv2.IMREAD_COLOR)
    assert shown is not None
    assert shown.shape == (state["clip"]["height_px"], state["clip"]["width_px"], 3)
    assert state["clip"]["clip_s"][10] == pytest.approx(10 / 30, abs=1e-4)
    assert ask(desk, f"/api/picture/{state['clip']['last'] + 1}").status == 422
