"""Clips made for the purpose are read upright and at their true times."""

from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import numpy.typing as npt
import pytest

from matchvision.errors import FootageError
from matchvision.footage import describe_footage, first_look, look_throughout, read_facts, read_frames
from tests.footage.clips import picture, write_clip

ONE = 1 << 16


def grey(rgb: npt.NDArray[np.uint8]) -> npt.NDArray[np.float64]:
    """Luma of a picture at limited range, by the BT.601 weights that the small test clips are coded with."""
    return np.asarray(16 + 219 / 255 * (rgb @ np.array([0.299, 0.587, 0.114])), dtype=np.float64)


def map_picture(rgb: npt.NDArray[np.uint8], a: int, b: int, c: int, d: int) -> npt.NDArray[np.uint8]:
    """Each pixel carried to where the display matrix sends it: x' = a x + c y, y' = b x + d y."""
    rows, cols = rgb.shape[:2]
    y, x = np.mgrid[:rows, :cols]
    x_shown, y_shown = a * x + c * y, b * x + d * y
    x_shown, y_shown = x_shown - x_shown.min(), y_shown - y_shown.min()
    shown = np.zeros((y_shown.max() + 1, x_shown.max() + 1, 3), dtype=np.uint8)
    shown[y_shown, x_shown] = rgb
    return shown


@pytest.mark.parametrize(
    "abcd",
    [
        (1, 0, 0, 1),
        (0, 1, -1, 0),
        (-1, 0, 0, -1),
        (0, -1, 1, 0),
        (-1, 0, 0, 1),
        (1, 0, 0, -1),
        (0, 1, 1, 0),
        (0, -1, -1, 0),
    ],
)
def test_turned_and_mirrored_clips_come_upright(tmp_path: Path, abcd: tuple[int, int, int, int]) -> None:
    a, b, c, d = abcd
    matrix = [a * ONE, b * ONE, 0, c * ONE, d * ONE, 0, 0, 0, 1 << 30]
    clip = write_clip(tmp_path / "turned.mp4", range(0, 9000, 3000), matrix=matrix)
    facts = read_facts(clip)
    frame = next(iter(read_frames(facts)))
    shown = map_picture(picture(0), a, b, c, d)
    assert (facts.height_px, facts.width_px) == frame.luma.shape == shown.shape[:2]
    assert facts.mirrored == (a * d - b * c < 0)
    assert np.median(np.abs(frame.luma - grey(shown))) < 3
    # The middle of the red block, by its chroma, lies in luma pixels where the picture has it.
    rows, cols = np.nonzero(frame.red > 160)
    step, offset = frame.chroma_step_px, frame.chroma_offset_px
    red_rows, red_cols = np.nonzero((shown[:, :, 0] > 150) & (shown[:, :, 1] < 100))
    assert cols.mean() * step[0] + offset[0] == pytest.approx(red_cols.mean(), abs=0.8)
    assert rows.mean() * step[1] + offset[1] == pytest.approx(red_rows.mean(), abs=0.8)


def test_uneven_times_come_from_the_container(tmp_path: Path) -> None:
    ticks = np.cumsum([0, 1500, 3001, 1499, 9000, 1501, 2950, 3010])
    clip = write_clip(tmp_path / "uneven.mp4", ticks.tolist())
    clip_s = np.array([f.clip_s for f in read_frames(read_facts(clip))])
    assert clip_s == pytest.approx(ticks / 90000, abs=1e-9)


def test_a_late_start_begins_at_zero(tmp_path: Path) -> None:
    ticks = 45000 + 3000 * np.arange(6)
    clip = write_clip(tmp_path / "late.mkv", (ticks // 90).tolist(), base=Fraction(1, 1000))
    frames = list(read_frames(read_facts(clip)))
    assert frames[0].clip_s == 0
    assert [f.index for f in frames] == list(range(6))
    assert np.diff([f.clip_s for f in frames]) == pytest.approx(3000 / 90000, abs=1.01e-3)


def test_pictures_hidden_by_an_edit_list_are_not_shown(tmp_path: Path) -> None:
    # Times below zero: the muxer writes an edit list that starts at the picture with time 0.
    clip = write_clip(tmp_path / "edited.mp4", range(-9000, 12000, 3000), options={"crf": "12", "bf": "0", "g": "1"})
    frames = list(read_frames(read_facts(clip)))
    assert len(frames) == 4
    assert frames[0].clip_s == 0
    # The first shown picture is number 3, told by its grey corner.
    assert float(frames[0].luma[80, 8]) == pytest.approx(16 + 219 / 255 * (20 + 18), abs=3)


@pytest.mark.parametrize("pixel_format", ["yuv422p", "yuv444p", "yuv420p10le", "nv12"])
def test_other_pixel_formats_give_the_same_picture(tmp_path: Path, pixel_format: str) -> None:
    clip = write_clip(tmp_path / "format.mp4", [0, 3000, 6000], pixel_format=pixel_format)
    frame = next(iter(read_frames(read_facts(clip))))
    assert frame.luma.dtype == frame.blue.dtype == np.uint8
    assert np.median(np.abs(frame.luma - grey(picture(0)))) < 3
    step_col, step_row = frame.chroma_step_px
    assert frame.red.shape == (96 // step_row, 160 // step_col)
    assert float(frame.red[8 // step_row, 12 // step_col]) > 190


def test_frames_stay_valid_while_others_are_read(tmp_path: Path) -> None:
    clip = write_clip(tmp_path / "kept.mp4", range(0, 120000, 3000))
    frames = list(read_frames(read_facts(clip)))
    for frame in frames:
        assert float(frame.luma[80, 8]) == pytest.approx(16 + 219 / 255 * (20 + 6 * (frame.index % 30)), abs=4)
        assert not frame.luma.flags.writeable


def test_a_first_look_is_spread_and_small(tmp_path: Path) -> None:
    clip = write_clip(tmp_path / "long.mp4", range(0, 3000 * 64, 3000))
    facts = read_facts(clip)
    look = first_look(facts, at_most=16)
    every = {f.index: f for f in read_frames(facts)}
    assert len(look) <= 16
    assert look[0].index == 0
    assert look[-1].index >= 48
    for frame in look:
        assert frame.clip_s == pytest.approx(every[frame.index].clip_s, abs=1e-9)
        assert np.array_equal(frame.luma, every[frame.index].luma)


def test_a_clip_without_places_to_start_at_is_looked_through_when_asked(tmp_path: Path) -> None:
    ticks = range(0, 3000 * 96, 3000)
    options = {"crf": "12", "bf": "0", "g": "1000"}
    facts = read_facts(write_clip(tmp_path / "one_start.mp4", ticks, options=options))
    begin = first_look(facts)
    assert [f.index for f in begin] == list(range(12))
    throughout = look_throughout(facts, begin)
    assert throughout[:12] == begin
    apart = np.diff([0.0, *(f.clip_s for f in throughout[12:]), facts.duration_s])
    assert len(throughout) >= 16
    assert apart.max() < 1.5 * facts.duration_s / 7 + 0.4
    every = {f.index: f for f in read_frames(facts)}
    assert all(np.array_equal(f.luma, every[f.index].luma) for f in throughout)
    part = look_throughout(facts, begin, None, 1.6)
    assert max(f.clip_s for f in part) <= 1.6
    usual = read_facts(write_clip(tmp_path / "usual.mp4", ticks))
    assert look_throughout(usual, first_look(usual)) == ()


def test_a_still_serves_as_a_clip_of_one_picture(tmp_path: Path) -> None:
    clip = write_clip(tmp_path / "one.mp4", [0])
    facts = read_facts(clip)
    assert [f.index for f in first_look(facts)] == [0]
    faults, note = describe_footage(facts, np.zeros(1))
    assert note.stage == "footage"
    assert faults


def test_a_cover_picture_is_not_the_clip(tmp_path: Path) -> None:
    clip = write_clip(tmp_path / "plain.mp4", range(0, 15000, 3000))
    covered = tmp_path / "covered.mp4"
    with av.open(str(clip)) as source, av.open(str(covered), "w") as target:
        cover = target.add_stream("mjpeg", rate=1)
        cover.width, cover.height, cover.pix_fmt = 64, 64, "yuvj420p"
        cover.disposition = av.stream.Disposition.attached_pic
        copy = target.add_stream_from_template(source.streams.video[0])
        still = av.VideoFrame.from_ndarray(np.full((64, 64, 3), 200, dtype=np.uint8), format="rgb24")
        still.pts = 0
        for packet in [*cover.encode(still.reformat(format="yuvj420p")), *cover.encode(None)]:
            target.mux(packet)
        for packet in source.demux(source.streams.video[0]):
            if packet.dts is not None:
                packet.stream = copy
                target.mux(packet)
    facts = read_facts(covered)
    assert (facts.width_px, facts.height_px) == (160, 96)
    assert sum(1 for _ in read_frames(facts)) == 5


def test_files_that_are_no_clips_are_refused_with_reasons(tmp_path: Path) -> None:
    whole = write_clip(tmp_path / "whole.mp4", range(0, 90000, 3000))
    (tmp_path / "text.mp4").write_text("run at noon, table by the window\n" * 40)
    (tmp_path / "notes.txt").write_text("run at noon, table by the window\n" * 40)
    (tmp_path / "empty.mp4").write_bytes(b"")
    (tmp_path / "cut.mp4").write_bytes(whole.read_bytes()[: whole.stat().st_size // 2])
    (tmp_path / "noise.mp4").write_bytes(bytes(np.random.default_rng(1).integers(0, 256, 5000, dtype=np.uint8)))
    for name, words in [
        ("missing.mp4", "no such clip"),
        ("", "folder"),
        ("text.mp4", "text file"),
        ("notes.txt", "text file"),
        ("empty.mp4", "empty"),
        ("cut.mp4", "cut short"),
        ("noise.mp4", "no video"),
    ]:
        with pytest.raises(FootageError) as caught:
            read_facts(tmp_path / name if name else tmp_path)
        assert words in caught.value.what
        assert str(tmp_path) in caught.value.where
        assert caught.value.do


def test_sound_alone_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "sound.mp4"
    with av.open(str(path), "w") as container:
        stream = container.add_stream("aac", rate=44100)
        frame = av.AudioFrame.from_ndarray(np.zeros((1, 1024), dtype=np.float32), format="fltp", layout="mono")
        frame.sample_rate = 44100
        for packet in [*stream.encode(frame), *stream.encode(None)]:
            container.mux(packet)
    with pytest.raises(FootageError, match="no picture track"):
        read_facts(path)


def test_a_recording_that_ends_early_keeps_what_is_there(tmp_path: Path) -> None:
    clip = write_clip(tmp_path / "whole.mkv", range(0, 2000, 33), base=Fraction(1, 1000))
    short = tmp_path / "short.mkv"
    short.write_bytes(clip.read_bytes()[: int(0.7 * clip.stat().st_size)])
    facts = read_facts(short)
    clip_s = np.array([f.clip_s for f in read_frames(facts)])
    assert 20 < len(clip_s) < 60
    assert np.diff(clip_s) == pytest.approx(0.033, abs=1e-6)


def damage_pictures(clip: Path, numbers: tuple[int, ...]) -> None:
    """Overwrite stored pictures, counted in order of storing, so that they cannot be decoded."""
    with av.open(str(clip)) as container:
        packets = [(p.pos, p.size) for p in container.demux(video=0) if p.size and p.pos is not None]
    data = bytearray(clip.read_bytes())
    for number in numbers:
        begin, size = packets[number]
        data[begin + 4 : begin + size] = bytes(size - 4)
    clip.write_bytes(data)


@pytest.mark.parametrize("damaged", [(4,), (0, 1), (3, 9, 10)])
def test_a_damaged_picture_keeps_its_number_and_its_time(tmp_path: Path, damaged: tuple[int, ...]) -> None:
    """However the clip is entered, or a place set by hand would be taken for one of another picture."""
    clip = write_clip(tmp_path / "damaged.mp4", range(0, 3000 * 60, 3000), options={"crf": "12", "bf": "0", "g": "1"})
    damage_pictures(clip, damaged)
    facts = read_facts(clip)
    whole, part = list(read_frames(facts)), list(read_frames(facts, from_s=0.0))
    left = [k for k in range(60) if k not in damaged]
    assert [f.index for f in whole] == [f.index for f in part] == left
    assert [f.clip_s for f in whole] == pytest.approx([k / 30 for k in left], abs=1e-6)
    assert [f.clip_s for f in part] == pytest.approx([k / 30 for k in left], abs=1e-6)
    for frame in first_look(facts, at_most=6):
        assert frame.clip_s == pytest.approx(frame.index / 30, abs=1e-6)
        assert round(((float(frame.luma[80, 8]) - 16) * 255 / 219 - 20) / 6) == frame.index % 30
