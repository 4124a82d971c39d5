"""What causes are sought from, kept until they are found."""

from dataclasses import fields, is_dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from matchvision.errors import OutputError
from matchvision.records.gripmap import GripCell, GripMap, GripTale
from matchvision.records.motion import ArmMotion
from matchvision.records.results import Analysis
from matchvision.writing.keeping import KEPT, keep_grounds, recall_grounds
from tests.report.invented import invent_analysis

NAN = float("nan")


@pytest.fixture(scope="module")
def analysis() -> Analysis:
    """With everything in it that a run may leave behind."""
    whole = invent_analysis("hitch-slips")
    assert whole.grip is not None
    cell = GripCell("heron", "left", -0.2, -0.1, 1.0, 2.0, "available", 0.8, 0.02, 0.6)
    maps = GripMap("heron", ("left", "right"), (cell,), (GripTale("even", "both", 0.9, 0.8, 0.02, NAN, NAN),), "even")
    n = len(whole.motion.frame)
    arm = ArmMotion("heron", -1, *(np.linspace(0, k, n) for k in range(6)))
    return replace(
        whole, grip=replace(whole.grip, maps=(maps,)), motion=replace(whole.motion, arms=(arm,)),
    )  # fmt: skip


def assert_same(kept: Any, original: Any) -> None:
    assert type(kept) is type(original)
    if is_dataclass(original):
        for each in fields(original):
            if each.name not in ("tracks", "places"):
                assert_same(getattr(kept, each.name), getattr(original, each.name))
    elif isinstance(original, np.ndarray):
        assert kept.dtype == original.dtype
        np.testing.assert_array_equal(kept, original)
    elif isinstance(original, dict):
        assert list(kept) == list(original)
        for key in original:
            assert_same(kept[key], original[key])
    elif isinstance(original, tuple):
        assert len(kept) == len(original)
        for one, other in zip(kept, original, strict=True):
            assert_same(one, other)
    else:
        assert kept == original or (kept != kept and original != original)


def test_what_is_kept_comes_back_to_the_last_digit(analysis: Analysis, tmp_path: Path) -> None:
    keep_grounds(analysis.run, analysis.grounds, tmp_path)
    kept = recall_grounds(analysis.run, tmp_path)
    assert_same(kept, analysis.grounds)
    assert kept.motion.tracks.plans == ()
    with pytest.raises(ValueError, match="read-only"):
        kept.motion.clip_s[0] = 1.0


def test_what_does_not_fit_is_refused(analysis: Analysis, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(OutputError, match="no results here"):
        recall_grounds(analysis.run, tmp_path)
    (tmp_path / "result.json").write_text("{}")
    with pytest.raises(OutputError, match="no causes are due here"):
        recall_grounds(analysis.run, tmp_path)
    keep_grounds(analysis.run, analysis.grounds, tmp_path)
    changed = replace(analysis.run, sheet_texts={"run.toml": "something else"})
    with pytest.raises(OutputError, match="changed since"):
        recall_grounds(changed, tmp_path)
    monkeypatch.setattr("matchvision.__version__", "9.9")
    with pytest.raises(OutputError, match=r"here is 9\.9"):
        recall_grounds(analysis.run, tmp_path)
    (tmp_path / KEPT).write_bytes((tmp_path / KEPT).read_bytes()[:2000])
    with pytest.raises(OutputError, match="cannot be read"):
        recall_grounds(analysis.run, tmp_path)
