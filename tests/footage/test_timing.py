"""Times out of order are put in order; nothing else is touched."""

from pathlib import Path

import av
import numpy as np
import pytest

from matchvision.footage import describe_footage, read_facts, read_frames
from matchvision.footage.timing import count_backward_steps, pair_in_order
from tests.footage.clips import write_clip


def test_pictures_keep_their_order_and_get_rising_times() -> None:
    # As stored by an encoder that writes times in coding order: I P B B P B B.
    times = [0.0, 3.0, 1.0, 2.0, 6.0, 4.0, 5.0]
    paired = list(pair_in_order(zip(times, "abcdefg", strict=True), depth=2))
    assert [t for t, _ in paired] == sorted(times)
    assert "".join(p for _, p in paired) == "abcdefg"
    assert count_backward_steps(times) == 2


def test_times_that_never_rise_are_passed_over() -> None:
    paired = list(pair_in_order(zip([0.0, 1.0, 1.0, 2.0], "abcd", strict=True), depth=0))
    assert [t for t, _ in paired] == [0.0, 1.0, 2.0]


def test_a_clip_with_times_in_coding_order_is_sorted_with_a_warning(tmp_path: Path) -> None:
    good = write_clip(tmp_path / "good.mp4", range(0, 90000, 3000), options={"crf": "12", "bf": "2", "b-adapt": "0"})
    bad = tmp_path / "bad.mp4"
    with av.open(str(good)) as source, av.open(str(bad), "w") as target:
        copy = target.add_stream_from_template(source.streams.video[0])
        for number, packet in enumerate(p for p in source.demux(source.streams.video[0]) if p.dts is not None):
            packet.pts = packet.dts = 3000 * number * round(1 / 90000 / float(packet.time_base))
            packet.stream = copy
            target.mux(packet)
    facts = read_facts(bad)
    assert any("out of order" in fault.what for fault in facts.faults)
    frames = list(read_frames(facts))
    assert np.all(np.diff([f.clip_s for f in frames]) > 0)
    corner = np.array([float(f.luma[80, 8]) for f in frames])
    assert corner == pytest.approx(16 + 219 / 255 * (20 + 6 * np.arange(len(frames))), abs=4)
    _faults, note = describe_footage(facts, np.array([f.clip_s for f in frames]))
    assert note.status == "partly"
    assert any("out of order" in warning for warning in note.warnings)
