"""Every codec, pixel format, matrix, range and size comes as upright planes with the codes that were written."""

from pathlib import Path

import av
import numpy as np
import pytest

from matchvision.footage import describe_footage, first_look, read_facts, read_frames
from tests.footage.coded import FORMATS, blocks, codes_of, write_coded

QUIET = {"x265-params": "log-level=none:lossless=0:crf=12", "preset": "ultrafast"}
CASES = [
    # file, codec, pixel format, (cols, rows), options, codec as said
    ("a.mp4", "libx264", "yuv420p", (160, 96), {"crf": "10", "preset": "ultrafast"}, "h264"),
    ("b.mp4", "libx265", "yuv420p", (160, 96), QUIET, "hevc"),
    ("c.mp4", "libx265", "yuv420p10le", (160, 96), QUIET, "hevc"),
    ("d.webm", "libvpx-vp9", "yuv420p", (161, 97), {"crf": "10", "b": "0", "cpu-used": "8"}, "vp9"),
    ("e.mp4", "libsvtav1", "yuv420p", (160, 96), {"crf": "10", "preset": "12"}, "av1"),
    ("f.mov", "prores_ks", "yuv422p10le", (160, 96), {}, "prores"),
    ("g.mkv", "ffv1", "yuv420p", (161, 97), {}, "ffv1"),
    ("h.mkv", "ffv1", "yuv422p12le", (161, 97), {}, "ffv1"),
    ("i.mkv", "ffv1", "yuv444p", (161, 97), {}, "ffv1"),
]


def check_blocks(path: Path, matrix: str, full_range: bool, size: tuple[int, int], tolerance: float) -> None:
    facts = read_facts(path)
    assert (facts.width_px, facts.height_px, facts.matrix, facts.full_range) == (*size, matrix, full_range)
    frames = list(read_frames(facts))
    assert [f.index for f in frames] == [0, 1, 2]
    expected = codes_of(blocks(*size), matrix, full_range)
    for frame in frames:
        assert frame.luma.dtype == frame.blue.dtype == frame.red.dtype == np.uint8
        assert frame.luma.shape == (size[1], size[0])
        step, offset = frame.chroma_step_px, frame.chroma_offset_px
        assert frame.red.shape == (-(-size[1] // step[1]), -(-size[0] // step[0]))
        for col, row in ((40, 24), (120, 24), (40, 72), (120, 72), (size[0] - 1, size[1] - 1)):
            i, j = round((row - offset[1]) / step[1]), round((col - offset[0]) / step[0])
            i, j = min(i, frame.red.shape[0] - 1), min(j, frame.red.shape[1] - 1)
            found = [float(frame.luma[row, col]), float(frame.blue[i, j]), float(frame.red[i, j])]
            assert found == pytest.approx(expected[:, row, col], abs=tolerance)
    assert np.array_equal(first_look(facts)[0].luma, frames[0].luma)


@pytest.mark.parametrize(("name", "codec", "pixel_format", "size", "options", "said"), CASES)
def test_codes_come_as_written(
    tmp_path: Path,
    name: str,
    codec: str,
    pixel_format: str,
    size: tuple[int, int],
    options: dict[str, str],
    said: str,
) -> None:
    path = write_coded(tmp_path / name, codec, pixel_format, blocks(*size), options=options)
    assert read_facts(path).codec == said
    # Bits beyond 8 are cut off, not rounded: up to one code, and one for the codec.
    check_blocks(path, "bt709", False, size, 1.0 if codec == "ffv1" else 2.5)
    assert FORMATS[pixel_format][0] == next(iter(read_frames(read_facts(path)))).chroma_step_px


@pytest.mark.parametrize("size", [(160, 96), (161, 97)])
def test_jpeg_pictures_are_in_full_range_and_bt601(tmp_path: Path, size: tuple[int, int]) -> None:
    path = write_coded(
        tmp_path / "a.avi", "mjpeg", "yuvj420p", blocks(*size), matrix="bt601", full_range=True, options={"qmin": "1"}
    )
    assert read_facts(path).codec == "mjpeg"
    check_blocks(path, "bt601", True, size, 4.0)
    # Its chroma lies midway between columns.
    assert next(iter(read_frames(read_facts(path)))).chroma_offset_px == (0.5, 0.5)


@pytest.mark.parametrize("matrix", ["bt601", "bt709", "bt2020"])
@pytest.mark.parametrize("full_range", [False, True])
def test_stated_matrix_and_range_are_read(tmp_path: Path, matrix: str, full_range: bool) -> None:
    path = write_coded(
        tmp_path / "a.mp4",
        "libx264",
        "yuv420p",
        blocks(160, 96),
        matrix=matrix,
        full_range=full_range,
        options={"crf": "10"},
    )
    check_blocks(path, matrix, full_range, (160, 96), 2.5)


@pytest.mark.parametrize(("size", "matrix"), [((160, 96), "bt601"), ((1280, 720), "bt709")])
def test_an_unstated_matrix_goes_by_size(tmp_path: Path, size: tuple[int, int], matrix: str) -> None:
    path = write_coded(tmp_path / "a.mkv", "libx264", "yuv420p", blocks(*size), matrix=matrix, stated=False, pictures=1)
    assert read_facts(path).matrix == matrix


@pytest.mark.parametrize("curve", ["hlg", "pq"])
def test_high_dynamic_range_is_said(tmp_path: Path, curve: str) -> None:
    path = write_coded(
        tmp_path / "a.mp4", "libx265", "yuv420p10le", blocks(160, 96), matrix="bt2020", curve=curve, options=QUIET
    )
    facts = read_facts(path)
    assert facts.transfer == curve
    check_blocks(path, "bt2020", False, (160, 96), 2.5)
    faults, _ = describe_footage(facts, np.arange(3) / 30)
    assert any(f"HDR ({curve.upper()})" in fault.what for fault in faults)


@pytest.mark.parametrize(("pixel_format", "size"), [("bgr0", (161, 97)), ("gray", (161, 97)), ("yuv411p", (160, 96))])
def test_unusual_formats_are_turned_into_luma_and_chroma(
    tmp_path: Path, pixel_format: str, size: tuple[int, int]
) -> None:
    rgb = blocks(*size)
    with av.open(str(tmp_path / "a.mkv"), "w") as container:
        stream = container.add_stream("ffv1", rate=30)
        stream.width, stream.height, stream.pix_fmt = *size, pixel_format
        whole = av.VideoFrame.from_ndarray((255 * rgb).round().astype(np.uint8), format="rgb24")
        for index in range(3):
            stored = whole.reformat(format=pixel_format)
            stored.pts = index
            container.mux(stream.encode(stored))
        container.mux(stream.encode(None))
    facts = read_facts(tmp_path / "a.mkv")
    frame = next(iter(read_frames(facts)))
    assert frame.luma.shape == (size[1], size[0])
    # RGB comes by the matrix that the facts name; what swscale made of it here is in BT.601.
    expected = codes_of(rgb, "bt709" if pixel_format == "bgr0" else "bt601", full_range=False)
    assert facts.matrix == ("bt709" if pixel_format == "bgr0" else "bt601")
    for col, row in ((40, 24), (120, 24), (40, 72), (120, 72)):
        step, offset = frame.chroma_step_px, frame.chroma_offset_px
        i, j = round((row - offset[1]) / step[1]), round((col - offset[0]) / step[0])
        if pixel_format != "gray":
            assert float(frame.luma[row, col]) == pytest.approx(expected[0, row, col], abs=2)
            assert float(frame.blue[i, j]) == pytest.approx(expected[1, row, col], abs=3)
            assert float(frame.red[i, j]) == pytest.approx(expected[2, row, col], abs=3)
        else:
            assert (float(frame.blue[i, j]), float(frame.red[i, j])) == pytest.approx((128, 128), abs=1)
            assert float(frame.luma[72, 40]) > float(frame.luma[72, 120]) + 80
