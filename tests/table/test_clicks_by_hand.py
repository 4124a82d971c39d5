"""Clicked points with a camera that moves: a click belongs to one picture, so they are left out, and that is said."""

from functools import cache

import pytest

from matchvision.errors import TableError
from matchvision.footage import first_look, read_facts
from matchvision.records.frames import Frame
from matchvision.records.sheet import RunSheet, TablePoint
from matchvision.sheets import load_run
from matchvision.table import find_table
from tests.truth import SAMPLE_CLIPS

CORNERS = [(-1.1, -0.5), (1.1, -0.5), (1.1, 0.5), (-1.1, 0.5)]


@cache
def look() -> tuple[RunSheet, tuple[Frame, ...]]:
    run = load_run(SAMPLE_CLIPS / "hand-held")
    return run.sheet, first_look(read_facts(run.clip), 6)


def with_clicks(sheet: RunSheet, *, tags: bool) -> RunSheet:
    points = tuple(
        TablePoint(name=f"corner {k}", at_m=at, pixel=(100.0 + 250 * k, 400.0)) for k, at in enumerate(CORNERS)
    )
    changes = {"point": points} if tags else {"point": points, "tag": ()}
    return sheet.model_copy(update={"table": sheet.table.model_copy(update=changes)})


def test_clicks_are_left_out_and_that_is_said() -> None:
    sheet, frames = look()
    view, note = find_table(frames, with_clicks(sheet, tags=True), None)
    assert any("Clicked points serve only a still camera" in warning for warning in note.warnings)
    assert "clicked" not in view.source
    assert not any(point.name.startswith("corner") for point in view.points)


def test_clicks_alone_are_refused_with_what_to_do() -> None:
    sheet, frames = look()
    with pytest.raises(TableError, match="no tag is in view to tell where it is") as caught:
        find_table(frames, with_clicks(sheet, tags=False), None)
    assert "clicked points serve only a still camera" in str(caught.value.do)


def test_edges_of_the_table_help_a_moving_camera() -> None:
    """The lens is surer with the table's edges, which are read in the first picture."""
    sheet, frames = look()
    bare = sheet.model_copy(update={"table": sheet.table.model_copy(update={"edges": False})})
    with_edges, _ = find_table(frames, sheet, None)
    without, _ = find_table(frames, bare, None)
    assert "table edge" in with_edges.source
    assert "table edge" not in without.source
    assert with_edges.camera.covariance[4, 4] < 0.8 * without.camera.covariance[4, 4]
