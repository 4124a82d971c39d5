"""The ladder of inputs: blocks of the sheet beyond clip, clock and table may be missing; each adds its part."""

import re
from collections.abc import Callable
from pathlib import Path

import pytest

from matchvision.pipeline import analyze
from matchvision.records.results import Analysis
from matchvision.sheets import load_run

SAMPLE = Path(__file__).parents[2] / "sample_clips" / "flat-match"

pytestmark = pytest.mark.slow


def without_wheels(text: str) -> str:
    return re.sub(r"\[\[machine\.\w+\.wheel\]\]\n(?:(?!\[).*\n)*", "", text[: text.index("[forecast.heron]")])


def without_machines(text: str) -> str:
    return text[: text.index("[machine.heron]")]


def without_rope(text: str) -> str:
    return text[: text.index("[rope]")] + text[text.index("[machine.heron]") : text.index("[forecast.heron]")]


def without_markers(text: str) -> str:
    return text[: text.index("[colour.red]")]


def analyze_with(tmp_path: Path, strip: Callable[[str], str]) -> Analysis:
    (tmp_path / "run.toml").write_text(strip((SAMPLE / "run.toml").read_text()))
    (tmp_path / "clip.mp4").symlink_to(SAMPLE / "clip.mp4")
    return analyze(load_run(tmp_path))


def said(analysis: Analysis) -> str:
    return " ".join(" ".join((note.sentence, *note.advice)) for note in analysis.notes)


def test_beads_on_the_rope_give_share_and_verdict(tmp_path: Path) -> None:
    analysis = analyze_with(tmp_path, without_machines)
    ruling = analysis.verdict.ruling
    assert ruling is not None
    assert ruling.winner == "plover"
    assert abs(ruling.margin_m - 0.18406) <= 1.96 * ruling.u_margin_m
    assert not analysis.motion.machines


def test_two_discs_a_machine_add_motion(tmp_path: Path) -> None:
    analysis = analyze_with(tmp_path, without_wheels)
    assert set(analysis.motion.machines) == {"heron", "plover"}
    assert not analysis.motion.wheels
    assert "wheel" in said(analysis)
    # No link, sled or drive facts: no pull, and everything else; what the sheet lacks for a pull is named by its keys.
    assert analysis.pull is None
    assert analysis.verdict.ruling is not None
    assert analysis.grip is not None
    assert any(event.kind == "first-motion" for event in analysis.grip.events)
    (note,) = (note for note in analysis.notes if note.stage == "pull")
    assert note.status == "skipped"
    for key in ("[rope.link]", "hang_test", "[machine.heron.drive] motors, stall_torque_Nm", "rim", "commands"):
        assert key in " ".join(note.advice), key


def test_machines_without_a_rope_still_move(tmp_path: Path) -> None:
    analysis = analyze_with(tmp_path, without_rope)
    assert analysis.motion.rope is None
    assert set(analysis.motion.machines) == {"heron", "plover"}
    assert analysis.verdict.ruling is not None
    assert analysis.verdict.ruling.winner is None


def test_nothing_marked_is_said(tmp_path: Path) -> None:
    analysis = analyze_with(tmp_path, without_markers)
    assert "markers" in said(analysis)
    assert analysis.verdict.ruling is not None
    assert analysis.verdict.ruling.winner is None
