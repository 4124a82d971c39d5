"""Markers that the sheet does not name, declared by clicks: proposed from the picture, kept, found, taken back."""

import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from matchvision.desk import OpenDesk, open_desk
from matchvision.sheets import load_draft, load_run
from tests.desk.clicking import marker_pixel
from tests.desk.filmed import small_scene
from tests.desk.talking import ask, post
from tests.desk.test_colouring import teach
from tests.desk.test_table_points import click_points

FRAME = 12


@pytest.fixture
def folder(filmed: Path, tmp_path: Path) -> Path:
    """Whoever wrote the sheet forgot plover's discs and a bead."""
    copy = tmp_path / "run"
    copy.mkdir()
    text = (filmed / "run.toml").read_text(encoding="utf-8")
    text = re.sub(r"\[\[machine\.plover\.marker\]\]\n(?:(?!\[).*\n?)*", "", text)
    text = re.sub(r'.*name = "bead_08".*\n', "", text)
    (copy / "run.toml").write_text(text, encoding="utf-8")
    (copy / "clip.mp4").hardlink_to(filmed / "clip.mp4")
    return copy


@pytest.fixture
def desk(folder: Path, filmed: Path, tmp_path: Path) -> Iterator[OpenDesk]:
    shutil.copy(filmed / "truth.csv", tmp_path)
    opened = open_desk(folder, tmp_path / "results")
    thread = opened.serve_aside()
    post(opened, "/api/points", {"points": click_points(opened, 8), "keep": True})
    teach(opened, filmed, FRAME)
    yield opened
    opened.stop()
    thread.join(10)


def test_discs_and_a_bead_are_declared_by_clicks(desk: OpenDesk, filmed: Path, folder: Path) -> None:
    scene = small_scene()
    own = {disc.name: disc for disc in scene.machine["plover"].marker}
    kept = {}
    for name in ("front", "rear"):
        pixel = marker_pixel(filmed, f"plover.{name}", FRAME)
        told = post(desk, "/api/propose", {"number": FRAME, "pixel": [pixel[0] + 1, pixel[1] - 1]}).data
        assert told["machine"] == "plover"
        assert not told["bead"]["likely"]
        assert np.hypot(*np.subtract(told["pixel"], pixel)) < 2
        disc = told["discs"]["plover"]
        assert disc["radius_m"] == pytest.approx(own[name].radius_m, rel=0.35)
        # Heights are not seen: somebody measures them.
        body = {"kind": "disc", "machine": "plover", "number": FRAME, "pixel": told["pixel"], "name": name}
        body |= {"colour": told["colour"] or own[name].colour, "height_m": own[name].at_m[2]}
        if name == "rear":
            told = post(desk, "/api/propose", {"number": FRAME, "pixel": list(pixel)}).data
            disc = told["discs"]["plover"]
        answer = post(desk, "/api/declare", {**body, "radius_m": own[name].radius_m, "at_m": disc["at_m"]})
        assert answer.status == 200, answer.data
        kept[name] = disc["at_m"]
    assert kept["front"] == [0.0, 0.0]
    apart = own["rear"].at_m[0] - own["front"].at_m[0]
    assert kept["rear"] == pytest.approx([apart, 0.0], abs=0.012)
    found = {marker["name"]: marker for marker in post(desk, "/api/look", {"number": FRAME}).data["found"]}
    assert {"plover.front", "plover.rear"} <= found.keys()

    pixel = marker_pixel(filmed, "bead_08", FRAME)
    told = post(desk, "/api/propose", {"number": FRAME, "pixel": list(pixel)}).data
    along_m = next(at for name, at, _ in scene.beads() if name == "bead_08")
    assert told["bead"]["likely"]
    assert told["bead"]["name"] == "bead_04"  # the first free one: a person types what it is called
    assert told["bead"]["along_m"] == pytest.approx(along_m, abs=0.01)
    body = {"kind": "bead", "name": "bead_08", "colour": told["colour"], "number": FRAME, "pixel": told["pixel"]}
    state = post(desk, "/api/declare", {**body, "along_m": told["bead"]["along_m"]}).data
    declared = [marker["name"] for marker in state["markers"] if marker["declared"]]
    assert declared == ["bead_08", "plover.front", "plover.rear"]
    sheet = load_run(folder).sheet
    assert [disc.name for disc in sheet.machine["plover"].marker] == ["front", "rear"]
    assert sheet.rope is not None
    assert "bead_08" in [bead.name for bead in sheet.rope.beads]

    for name in declared:
        state = post(desk, "/api/withdraw", {"name": name}).data
    assert not any(marker["declared"] for marker in state["markers"])
    assert not load_run(folder).sheet.machine["plover"].marker


def test_what_makes_no_sense_is_refused_and_not_written(desk: OpenDesk, filmed: Path, folder: Path) -> None:
    before = (folder / "desk.toml").read_bytes()
    pixel = list(marker_pixel(filmed, "plover.front", FRAME))
    disc = {"kind": "disc", "machine": "heron", "name": "front", "colour": "green", "number": FRAME, "pixel": pixel}
    assert "already" in post(desk, "/api/declare", disc).data["what"]
    assert "no machine" in post(desk, "/api/declare", {**disc, "machine": "crane"}).data["what"]
    assert "hardly any colour" in post(desk, "/api/declare", {**disc, "name": "x", "pixel": [5.0, 5.0]}).data["what"]
    assert post(desk, "/api/declare", {**disc, "name": "a b"}).status == 400
    beyond = {"kind": "bead", "name": "bead_99", "colour": "red", "number": FRAME, "pixel": pixel, "along_m": 9.0}
    assert post(desk, "/api/declare", beyond).status == 422
    assert "stands in the sheet" in post(desk, "/api/withdraw", {"name": "heron.front"}).data["what"]
    assert (folder / "desk.toml").read_bytes() == before


def test_a_colour_that_nobody_named_comes_with_its_marker(desk: OpenDesk, filmed: Path, folder: Path) -> None:
    pixel = list(marker_pixel(filmed, "plover.front", FRAME))
    worn = post(desk, "/api/propose", {"number": FRAME, "pixel": pixel}).data["colour"]
    post(desk, "/api/forget", {"name": worn})
    body = {"kind": "disc", "machine": "plover", "name": "lid", "colour": "ours", "number": FRAME, "pixel": pixel}
    state = post(desk, "/api/declare", {**body, "height_m": 0.12, "radius_m": 0.014}).data
    assert next(colour for colour in state["colours"] if colour["name"] == "ours")["srgb"].startswith("#")
    assert "ours" not in "".join(ask(desk, "/api/state").data["wanting"])
    assert load_draft(folder).run.sheet.colour["ours"].srgb.startswith("#")
