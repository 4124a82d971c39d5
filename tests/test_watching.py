"""The first look goes further where a clip's beginning does not show the table."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest

from matchvision.errors import TableError
from matchvision.footage import first_look, read_facts
from matchvision.records.camera import Scene
from matchvision.records.frames import Frame
from matchvision.watching import find_table_first
from tests.footage.clips import write_clip
from tests.made_motion import make_run

SCENE = Scene(np.zeros((4, 4), dtype=np.uint8))


@pytest.mark.parametrize(("group", "looks"), [("1000", [12, 17]), ("8", [12])])
def test_a_table_hidden_at_first_is_sought_all_over_a_clip_that_starts_at_one_place_only(
    group: str, looks: list[int], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    options = {"crf": "12", "bf": "0", "g": group}
    facts = read_facts(write_clip(tmp_path / "clip.mp4", range(0, 3000 * 128, 3000), options=options))
    asked: list[int] = []

    def find(frames: Sequence[Frame], *_: object) -> str:
        asked.append(len(frames))
        if frames[-1].clip_s < facts.duration_s / 2 or len(looks) == 1:
            raise TableError("no tag is in view")
        return "found"

    monkeypatch.setattr("matchvision.table.find_or_hold_table", find)
    looked = first_look(facts)
    if len(looks) == 1:
        with pytest.raises(TableError):
            find_table_first(make_run(), facts, looked, SCENE)
    else:
        assert str(find_table_first(make_run(), facts, looked, SCENE)) == "found"
    assert asked == looks
