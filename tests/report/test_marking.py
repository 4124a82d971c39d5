"""The marked clip: every picture at its own time, upright, with what was measured where it was measured."""

import dataclasses
from pathlib import Path

import av
import numpy as np
import numpy.typing as npt
import pytest

from matchvision.errors import FootageError, OutputError
from matchvision.footage import read_facts, read_frames
from matchvision.records.events import Grip
from matchvision.records.results import Analysis
from matchvision.report import mark_clip
from matchvision.report.canvas import INK, WHITE, Canvas, measure_words
from matchvision.report.overlay import Overlay
from matchvision.report.palette import rgb
from matchvision.report.readings import match_times, rope_share
from matchvision.report.ribbon import LOOSE, UNKNOWN, Ribbon
from tests.report.invented import invent_analysis, shorten

FRAMES = 40


def decode(path: Path, most: int = FRAMES) -> tuple[npt.NDArray[np.float64], list[npt.NDArray[np.uint8]]]:
    times, pictures = [], []
    with av.open(str(path)) as container:
        for picture in container.decode(video=0):
            assert picture.pts is not None
            assert picture.time_base is not None
            times.append(float(picture.pts * picture.time_base))
            pictures.append(np.asarray(picture.to_ndarray(format="rgb24"), dtype=np.uint8))
            if len(times) == most:
                break
    return np.array(times) - times[0], pictures


@pytest.fixture(scope="module")
def analysis() -> Analysis:
    return shorten(invent_analysis("flat-match"), 0, FRAMES)


@pytest.fixture(scope="module")
def marked(analysis: Analysis, tmp_path_factory: pytest.TempPathFactory) -> Path:
    told: list[tuple[int, int]] = []
    path = tmp_path_factory.mktemp("marked") / "marked.mp4"
    assert mark_clip(analysis, read_frames(analysis.clip), path, lambda done, total: told.append((done, total))) == path
    assert told[-1] == (FRAMES, FRAMES)
    assert [p.name for p in path.parent.iterdir()] == ["marked.mp4"]
    return path


def test_marked_clip_keeps_every_time(analysis: Analysis, marked: Path) -> None:
    times, _ = decode(marked, most=10_000)
    assert len(times) == FRAMES
    assert np.allclose(times, analysis.motion.clip_s, atol=1e-4)


def test_any_browser_can_play_it(marked: Path) -> None:
    with av.open(str(marked)) as container:
        stream = container.streams.video[0]
        assert stream.codec_context.name == "h264"
        assert stream.codec_context.pix_fmt == "yuv420p"
        assert (stream.codec_context.width, stream.codec_context.height) == (1280, 720)
    data = marked.read_bytes()
    assert 0 < data.find(b"moov") < data.find(b"mdat")


def test_share_bar_divides_where_the_share_is(analysis: Analysis, marked: Path) -> None:
    _, pictures = decode(marked)
    assert analysis.motion.rope is not None
    share = rope_share(analysis.motion.rope)[0][FRAMES - 1]
    row = pictures[-1][42].astype(float)
    minus, plus = (np.abs(row - np.array(rgb(side))).sum(axis=1) for side in ("minus", "plus"))
    nearer_minus = float(np.mean(minus < plus))
    assert nearer_minus == pytest.approx(1 - share, abs=0.01)


def test_drawing_touches_the_markers_and_leaves_the_rest(analysis: Analysis, marked: Path) -> None:
    _, pictures = decode(marked)
    _, sources = decode(analysis.clip.path)
    change = np.abs(pictures[-1].astype(float) - sources[FRAMES - 1]).mean(axis=2)
    tracks = analysis.motion.tracks
    for m, plan in enumerate(tracks.plans):
        col, row = (round(float(c[FRAMES - 1, m])) for c in (tracks.col_px, tracks.row_px))
        assert change[row - 12 : row + 13, col - 12 : col + 13].max() > 60, plan.name
    assert float(np.median(change)) < 4


def test_turned_clips_are_marked_upright(analysis: Analysis, tmp_path: Path) -> None:
    upside_down = dataclasses.replace(analysis.clip, rotation_deg=180)
    turned = shorten(dataclasses.replace(analysis, clip=upside_down), 0, 3)
    _, pictures = decode(mark_clip(turned, read_frames(turned.clip), tmp_path / "marked.mp4"), most=3)
    _, sources = decode(analysis.clip.path, most=3)
    assert float(np.median(np.abs(pictures[2].astype(float) - sources[2][::-1, ::-1]))) < 4
    sideways = dataclasses.replace(analysis.clip, rotation_deg=90, width_px=720, height_px=1280)
    turned = shorten(dataclasses.replace(analysis, clip=sideways), 0, 3)
    _, pictures = decode(mark_clip(turned, read_frames(turned.clip), tmp_path / "sideways.mp4"), most=3)
    assert pictures[0].shape == (1280, 720, 3)
    assert float(np.median(np.abs(pictures[2].astype(float) - np.rot90(sources[2])))) < 4


def test_a_bare_analysis_is_marked_too(analysis: Analysis, tmp_path: Path) -> None:
    motion = dataclasses.replace(analysis.motion, machines={}, wheels=(), rope=None)
    bare = shorten(dataclasses.replace(analysis, motion=motion, pull=None, grip=None, forecast=None), 0, 3)
    times, _ = decode(mark_clip(bare, read_frames(bare.clip), tmp_path / "marked.mp4"), most=9)
    assert len(times) == 3


def test_nothing_is_left_when_marking_stops(analysis: Analysis, tmp_path: Path) -> None:
    def stop(done: int, total: int) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        mark_clip(analysis, read_frames(analysis.clip), tmp_path / "marked.mp4", stop)
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_cannot_be_written_is_told(analysis: Analysis, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("not a folder")
    with pytest.raises(OutputError, match="cannot be written"):
        mark_clip(analysis, read_frames(analysis.clip), tmp_path / "file" / "marked.mp4")


def test_a_clip_that_is_gone_is_told(analysis: Analysis, tmp_path: Path) -> None:
    gone = dataclasses.replace(analysis, clip=dataclasses.replace(analysis.clip, path=tmp_path / "gone.mp4"))
    with pytest.raises(FootageError, match="no such clip"):
        mark_clip(gone, read_frames(gone.clip), tmp_path / "marked.mp4")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("matrix", ["bt601", "bt709", "bt2020"])
def test_grey_has_no_colour_and_white_is_at_the_top_of_its_range(matrix: str) -> None:
    limited = Canvas(4, 4, matrix, full_range=False)
    assert limited.encode((255, 255, 255)) == (235, 128, 128)
    assert limited.encode((0, 0, 0)) == (16, 128, 128)
    assert Canvas(4, 4, matrix, full_range=True).encode((255, 255, 255)) == (255, 128, 128)


def test_pure_colours_reach_the_ends_of_chroma() -> None:
    canvas = Canvas(4, 4, "bt709", full_range=False)
    assert canvas.encode((0, 0, 255))[1] == 240
    assert canvas.encode((255, 0, 0))[2] == 240


def test_text_and_plates_may_leave_the_picture() -> None:
    canvas = Canvas(64, 32, "bt709", full_range=False)
    canvas.plate(-20, -20, 500, 500, (0, 0, 0), 1.0)
    for left, top in ((-30, -8), (50, 20), (200, 200)):
        canvas.text("12.3 ± 0.4 N 鷺", left, top, 20, (255, 255, 255))
    assert canvas.luma.max() > 200
    assert measure_words("± 0.4", 40) > measure_words("± 0.4", 20) > 20


def test_numbers_at_the_end_are_those_that_decide() -> None:
    """Numbers change a few times a second only, but the share stands where it stood when the clock stopped."""
    analysis = invent_analysis("flat-match")
    end_s = float(match_times(analysis)[300])
    ended = dataclasses.replace(analysis, clock=dataclasses.replace(analysis.clock, duration_s=end_s))
    overlay = Overlay(ended, Canvas(1280, 720, "bt709", full_range=False))
    assert (overlay.last, overlay._steady(300)) == (300, 300)
    assert {overlay._steady(k) for k in (296, 299)} == {288}
    canvas, decided = (Canvas(1280, 720, "bt709", full_range=False) for _ in range(2))
    overlay.draw(canvas, 350)
    overlay._share_bar(decided, 300)
    np.testing.assert_array_equal(canvas.luma[:40], decided.luma[:40])


def test_numbers_never_name_another_leader_than_the_picture() -> None:
    overlay = Overlay(invent_analysis("flat-match"), Canvas(1280, 720, "bt709", full_range=False))
    assert overlay.share is not None
    ahead = overlay.share[0] > 0.5
    changes = np.flatnonzero(ahead[1:] != ahead[:-1]) + 1
    assert len(changes)
    assert all(
        ahead[overlay._steady(int(k))] == ahead[k] for k in range(len(ahead)) if np.isfinite(overlay.share[0][k])
    )


def test_grip_ribbon_tells_the_states_over_the_matchs_time() -> None:
    """Heron grips for half of the match and then spins, with one wheel held; plover is dragged for its last quarter."""
    whole = invent_analysis("flat-match")
    t_s, end_s = match_times(whole), whole.clock.duration_s
    heron = tuple("spinning" if t > end_s / 2 else "gripping" for t in t_s)
    plover = tuple("dragged" if t > 0.75 * end_s else "" for t in t_s)
    held = ("held",) * len(t_s)
    states = {("heron", "left"): heron, ("heron", "right"): held, ("plover", "left"): plover}
    analysis = dataclasses.replace(whole, grip=Grip((), states))
    canvas = Canvas(1280, 720, "bt709", full_range=False)
    ribbon = Ribbon(analysis, canvas, 1.0)
    ribbon.lay(canvas, 0.25 * end_s)
    upper, lower = (canvas.luma[720 - ribbon.height_px + at] for at in (8, ribbon.height_px - 8))
    side = {name: canvas.encode(rgb(role))[0] for name, role in (("heron", "minus"), ("plover", "plus"))}
    dark = canvas.encode(tuple(level // 2 for level in rgb("minus")))[0]  # type: ignore[arg-type]
    assert int(upper[100]) == dark != side["heron"]  # held tells more than gripping
    assert int(upper[700]) == canvas.encode(LOOSE)[0]
    assert np.flatnonzero(upper == upper[700])[0] == pytest.approx(640, abs=3)
    assert int(lower[100]) == canvas.encode(UNKNOWN)[0]
    assert {int(v) for v in lower[1000:1260]} == {canvas.encode(LOOSE)[0], canvas.encode(INK)[0]}
    assert int(canvas.luma[718, 320]) == canvas.encode(WHITE)[0]  # the mark, a quarter of the way
    assert Ribbon(dataclasses.replace(whole, grip=None), canvas, 1.0).height_px == 0


@pytest.mark.parametrize(("curve", "code"), [("pq", 16), ("hlg", 18)])
def test_an_hdr_clip_is_marked_under_its_own_curve(analysis: Analysis, tmp_path: Path, curve: str, code: int) -> None:
    facts = dataclasses.replace(analysis.clip, matrix="bt2020", transfer=curve)
    hdr = shorten(dataclasses.replace(analysis, clip=facts), 0, 3)
    marked = mark_clip(hdr, read_frames(hdr.clip), tmp_path / "marked.mp4")
    with av.open(str(marked)) as container:
        picture = next(container.decode(video=0))
        assert isinstance(picture, av.VideoFrame)
        assert (picture.color_trc, picture.color_primaries, picture.colorspace) == (code, 9, 9)
    again = read_facts(marked)
    assert (again.transfer, again.matrix) == (curve, "bt2020")
    # The pictures' own codes are kept.
    _, pictures = decode(marked, most=1)
    assert pictures[0].shape == (720, 1280, 3)


def test_what_is_drawn_in_hdr_is_as_bright_as_paper() -> None:
    """White paper: 203 cd/m² is 58 % in PQ, and 75 % in HLG (ITU-R BT.2408-7, table 1)."""
    luma = {t: Canvas(4, 4, "bt2020", full_range=False, transfer=t).encode((255, 255, 255))[0] for t in ("pq", "hlg")}
    assert luma["pq"] == round(16 + 219 * 0.58)
    assert luma["hlg"] == round(16 + 219 * 0.75)
    assert Canvas(4, 4, "bt2020", full_range=False, transfer="pq").encode((0, 0, 0)) == (16, 128, 128)


def test_a_run_inside_an_evening_is_marked_from_its_own_first_picture(analysis: Analysis, tmp_path: Path) -> None:
    """Pictures 20 to 39 of the clip: the marked clip starts at zero with picture 20, and so does the page's video."""
    part = shorten(invent_analysis("flat-match"), 20, FRAMES)
    first_s, last_s = float(part.motion.clip_s[0]), float(part.motion.clip_s[-1])
    marked = mark_clip(part, read_frames(part.clip, first_s, last_s), tmp_path / "marked.mp4")
    times, pictures = decode(marked)
    assert np.allclose(times, part.motion.clip_s - first_s, atol=1e-4)
    _, whole = decode(analysis.clip.path)
    assert float(np.median(np.abs(pictures[0].astype(float) - whole[20]))) < 4
    assert float(np.median(np.abs(pictures[-1].astype(float) - whole[39]))) < 4
