"""A part of a clip: the same pictures at the same times as when the whole clip is read."""

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from matchvision.errors import FootageError
from matchvision.footage import first_look, read_facts, read_frames
from tests.footage.clips import write_clip


@pytest.fixture(scope="module", params=["0", "2"])
def clip(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Forty pictures, three in 0.1 s, late start, uneven; a keyframe every 8; without and with B pictures."""
    folder = tmp_path_factory.mktemp("windows")
    ticks = [4500 + 3000 * k + (700 if k % 3 == 0 else 0) for k in range(40)]
    return write_clip(folder / "clip.mp4", ticks, options={"crf": "12", "bf": request.param, "g": "8"})


@pytest.mark.parametrize(("from_s", "until_s"), [(0.5, 0.9), (0.0, 0.2), (1.1, None), (None, 0.3), (0.267, 0.267)])
def test_a_part_holds_the_same_pictures_as_the_whole(clip: Path, from_s: float | None, until_s: float | None) -> None:
    facts = read_facts(clip)
    whole = list(read_frames(facts))
    low, high = (-np.inf if from_s is None else from_s), (np.inf if until_s is None else until_s)
    wanted = [f for f in whole if low <= f.clip_s <= high]
    if from_s == until_s:
        wanted = [min(whole, key=lambda f: abs(f.clip_s - 0.267))]
        low = high = wanted[0].clip_s
        from_s = until_s = low
    part = list(read_frames(facts, from_s, until_s))
    assert [f.index for f in part] == [f.index for f in wanted]
    assert [f.clip_s for f in part] == pytest.approx([f.clip_s for f in wanted], abs=1e-9)
    for seen, same in zip(part, wanted, strict=True):
        assert np.array_equal(seen.luma, same.luma)


def test_a_first_look_stays_inside_its_part(clip: Path) -> None:
    facts = read_facts(clip)
    looked = first_look(facts, 12, 0.4, 1.0)
    assert all(0.4 <= f.clip_s <= 1.0 for f in looked)
    assert all(a.index < b.index for a, b in pairwise(looked))
    assert len(looked) >= 4


def test_a_part_beyond_the_clip_is_refused(clip: Path) -> None:
    with pytest.raises(FootageError, match=r"between 7\.00 s and 8\.00 s.*\n.*lasts 1\.3"):
        list(read_frames(read_facts(clip), 7.0, 8.0))
