"""Edit lists, second tracks, rates by formula and slow motion: every time exact, everything unusual said."""

from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest

from matchvision.footage import describe_footage, first_look, hear_start, read_facts, read_frames
from tests.footage.boxes import set_capture_rate, set_edits
from tests.footage.clips import picture, write_clip
from tests.footage.sounds import add_beep, room, write_with_sound

TICKS = range(0, 3000 * 30, 3000)


def numbers_shown(path: Path) -> tuple[list[int], list[float]]:
    """Which pictures are shown, told by their grey corner, and when."""
    shown, times = [], []
    for frame in read_frames(read_facts(path)):
        shown.append(round(((float(frame.luma[80, 8]) - 16) * 255 / 219 - 20) / 6))
        times.append(frame.clip_s)
    return shown, times


@pytest.mark.parametrize(
    ("edits", "shown"),
    [
        ([(0.9, 0.1)], list(range(3, 30))),  # not at a picture where decoding can start
        ([(0.5, -1), (1.0, 0.0)], list(range(30))),  # nothing is shown for the first half second
        ([(0.25, -1), (0.6, 0.2)], list(range(6, 24))),
        ([(0.3, 0.0), (0.4, 0.6)], [*range(9), *range(18, 30)]),  # a piece is cut out of the middle
    ],
)
@pytest.mark.parametrize("options", [{"crf": "12", "bf": "0", "g": "8"}, {"crf": "12", "bf": "2", "g": "12"}])
def test_edit_lists_are_kept(
    tmp_path: Path, edits: list[tuple[float, float]], shown: list[int], options: dict[str, str]
) -> None:
    clip = write_clip(tmp_path / "edited.mp4", TICKS, options=options)
    # With pictures out of order the track starts at the first picture's own time.
    start_s = min(p for p in packet_times(clip))
    set_edits(clip, [(length, at if at < 0 else at + start_s) for length, at in edits])
    found, times = numbers_shown(clip)
    assert found == shown
    if len(edits) < 2 or edits[0][1] < 0 or options["bf"] == "0":
        # A cut among pictures stored out of order is presented with a gap of that order's depth.
        assert times == pytest.approx([k / 30 for k in range(len(shown))], abs=1e-4)
    faults, _ = describe_footage(read_facts(clip), np.array(times))
    # Hidden pictures are not called missing; where the reader is late after a cut, this is said.
    assert not any("damaged or missing" in f.what for f in faults)
    late = len(edits) > 1 and edits[0][1] >= 0 and options["bf"] != "0"
    assert any("among pictures stored out of order" in f.what and "67 ms" in f.consequence for f in faults) == late
    assert next(f.index for f in first_look(read_facts(clip), at_most=5)) == 0
    # The same pictures at the same steps as the reader presents them.
    with av.open(str(clip)) as container:
        presented = [float(p.time or 0) for p in container.decode(video=0)]
    assert times == pytest.approx(np.array(presented) - presented[0], abs=1e-6)


def packet_times(path: Path) -> list[float]:
    """Times on the track itself, edits set aside."""
    with av.open(str(path), options={"ignore_editlist": "1"}) as container:
        packets = container.demux(video=0)
        return [float(p.pts * p.time_base) for p in packets if p.pts is not None and p.time_base is not None]


def test_pictures_that_start_late_move_the_sound_along(tmp_path: Path) -> None:
    samples = room(1.5, 0.004)
    add_beep(samples, 0.8, 0.3)
    clip = write_with_sound(tmp_path / "late.mp4", samples)
    set_edits(clip, [(0.5, -1), (1.5, 0.0)])
    assert hear_start(read_facts(clip)).clip_s == pytest.approx(0.3, abs=0.002)


def test_a_second_picture_track_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "two.mp4"
    with av.open(str(path), "w") as container:
        streams = []
        for size in ((160, 96), (320, 192)):
            stream = container.add_stream("libx264", rate=30)
            stream.width, stream.height, stream.pix_fmt = *size, "yuv420p"
            stream.codec_context.time_base = Fraction(1, 90000)
            streams.append((stream, size))
        for index in range(6):
            for stream, (cols, rows) in streams:
                frame = av.VideoFrame.from_ndarray(picture(index, rows, cols), format="rgb24")
                frame = frame.reformat(format="yuv420p")
                frame.pts, frame.time_base = index * (3000 if cols == 160 else 1500), Fraction(1, 90000)
                container.mux(stream.encode(frame))
        for stream, _ in streams:
            container.mux(stream.encode(None))
    facts = read_facts(path)
    assert (facts.width_px, facts.height_px) == (160, 96)
    assert [f.clip_s for f in read_frames(facts)] == pytest.approx(np.arange(6) / 30)


def test_a_rate_by_formula_is_exact_to_the_tick(tmp_path: Path) -> None:
    k = np.arange(40)
    ticks = np.rint(90000 * (k / 30 + 0.011 * np.sin(0.7 * k) + 0.1 * (k > 25))).astype(int)
    ticks -= ticks[0]
    clip = write_clip(tmp_path / "formula.mp4", ticks.tolist())
    facts = read_facts(clip)
    clip_s = np.array([f.clip_s for f in read_frames(facts)])
    assert np.rint(90000 * clip_s).astype(int).tolist() == ticks.tolist()
    assert clip_s == pytest.approx(ticks / 90000, abs=1e-9)
    # The gap of three pictures counts as such: the rate is that of the pictures that are there.
    assert facts.picture_rate_per_s == pytest.approx(30, rel=0.01)


@pytest.mark.parametrize("key", ["com.android.capture.fps", "com.example.CaptureRate"])
def test_slow_motion_as_phones_write_it_is_undone(tmp_path: Path, key: str) -> None:
    ticks = [3000 * k for k in range(24) if k not in (9, 15)]
    clip = set_capture_rate(write_clip(tmp_path / "slow.mp4", ticks), 240.0, key)
    facts = read_facts(clip)
    assert facts.recorded_rate_per_s == 240.0
    # Dropped pictures do not change how fast the file plays.
    assert facts.real_per_clip_ratio() == pytest.approx(1 / 8, rel=1e-9)
    faults, note = describe_footage(facts, np.array([f.clip_s for f in read_frames(facts)]))
    assert any("slow motion: recorded at 240" in f.what for f in faults)
    assert "a second of the clip is 0.1250 s" in note.sentence
    # The sheet goes before the camera, and a conflict is said.
    assert facts.real_per_clip_ratio(120.0) == pytest.approx(1 / 4)
    faults, note = describe_footage(facts, np.array([0.0, 1.0]), recorded_fps=120.0)
    conflict = [f for f in faults if "the camera says 240" in f.what]
    assert len(conflict) == 1
    assert "2 times as high" in conflict[0].consequence
    assert "by the sheet" in note.sentence
    # All times hang on it, so that it is told with the verdict.
    (against,) = note.contradictions
    assert against.key == "[clock] recorded_fps"
    assert "2 times as long in the clip" in against.shown
    faults, note = describe_footage(facts, np.array([0.0, 1.0]), recorded_fps=240.0)
    assert note.contradictions == ()
    assert not any("camera says" in f.what or "slow motion" in f.what for f in faults)


@pytest.mark.parametrize(("rate_per_s", "said"), [(30.0, False), (31.0, False), (45.0, True), (8.0, True)])
def test_a_capture_rate_that_is_no_slow_motion_changes_nothing(tmp_path: Path, rate_per_s: float, said: bool) -> None:
    clip = set_capture_rate(write_clip(tmp_path / "usual.mp4", TICKS), rate_per_s)
    facts = read_facts(clip)
    assert facts.real_per_clip_ratio() == 1.0
    told = " ".join(f.what + f.do for f in facts.faults)
    assert ("another rate" in told or "time lapse" in told) == said
    assert ("recorded_fps = 8" in told) == (rate_per_s == 8)
