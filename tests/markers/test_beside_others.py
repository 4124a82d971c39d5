"""Common ways to follow markers beside ours, on a few pictures: the comparison works and comes out as it should."""

from benchmarks.trackers import OURS, SCRIPT, TRACKERS, compare, take_material
from tests.truth import SAMPLE_CLIPS


def test_ours_is_nearer_than_a_script_that_thresholds_whole_pictures() -> None:
    table = compare(take_material(SAMPLE_CLIPS / "sled-link"), pictures=12)
    names = table["tracker"].tolist()
    error_px = dict(zip(names, table["rms_px"].to_numpy(float), strict=True))
    lost = dict(zip(names, table["lost_ratio"].to_numpy(float), strict=True))
    assert names == list(TRACKERS)
    assert lost[OURS] == 0
    assert error_px[OURS] < 0.2
    assert error_px[SCRIPT] > 2 * error_px[OURS]
    # The others start at the true places; so early, none has lost all of its markers.
    assert max(lost.values()) < 1
