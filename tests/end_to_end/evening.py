"""One clip that holds several runs: stretches of the sample match, some of them with the camera moved."""

from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np
import numpy.typing as npt

SAMPLE = Path(__file__).parents[2] / "sample_clips" / "flat-match"
RATE = 60


def sample_pictures(count: int | None = None) -> list[npt.NDArray[np.uint8]]:
    """Pictures of the sample match as yuv420p blocks, shared with nothing."""
    pictures: list[npt.NDArray[np.uint8]] = []
    with av.open(str(SAMPLE / "clip.mp4")) as clip:
        for frame in clip.decode(video=0):
            pictures.append(np.asarray(frame.to_ndarray(format="yuv420p"), dtype=np.uint8))
            if len(pictures) == count:
                break
    return pictures


def move(picture: npt.NDArray[np.uint8], right_px: float, down_px: float) -> npt.NDArray[np.uint8]:
    """The picture as a camera turned a little would see it."""
    rows, cols = picture.shape[0] * 2 // 3, picture.shape[1]
    luma = picture[:rows]
    blue, red = picture[rows:].reshape(2, rows // 2, cols // 2)
    moved = []
    for plane, step in ((luma, 1), (blue, 2), (red, 2)):
        matrix = np.array([[1, 0, right_px / step], [0, 1, down_px / step]], dtype=np.float64)
        size = (plane.shape[1], plane.shape[0])
        moved.append(cv2.warpAffine(plane, matrix, size, flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE))
    return np.concatenate([moved[0], moved[1].reshape(-1, cols), moved[2].reshape(-1, cols)]).astype(np.uint8)


def write_evening(path: Path, pictures: Sequence[npt.NDArray[np.uint8]]) -> Path:
    """Write pictures at 60 a second, decodable from every half second on."""
    with av.open(str(path), "w") as out:
        stream = out.add_stream("libx264", rate=RATE)
        stream.height, stream.width, stream.pix_fmt = pictures[0].shape[0] * 2 // 3, pictures[0].shape[1], "yuv420p"
        stream.options = {"preset": "ultrafast", "crf": "16", "g": "30"}
        stream.time_base = Fraction(1, 90_000)
        stream.codec_context.colorspace, stream.codec_context.color_range = 1, 1
        for index, picture in enumerate(pictures):
            frame = av.VideoFrame.from_ndarray(picture, format="yuv420p")
            frame.colorspace, frame.color_range = 1, 1
            frame.pts, frame.time_base = 1500 * index, Fraction(1, 90_000)
            out.mux(stream.encode(frame))
        out.mux(stream.encode(None))
    return path


def write_sheet(folder: Path, clip: Path, *, clock: str, camera: str = "", tags: bool = True) -> Path:
    """The sample's sheet for a part of the clip."""
    text = (SAMPLE / "run.toml").read_text(encoding="utf-8")
    text = text.replace('clip = "clip.mp4"', f'clip = "{clip.as_posix()}"')
    text = text.replace("start_s = 1.18\nduration_s = 8\n", clock)
    text = text.replace("moves = false", f"moves = false\n{camera}")
    if not tags:
        begin, end = text.index("[[table.tag]]"), text.index("[camera]")
        text = text[:begin] + text[end:]
    folder.mkdir(parents=True, exist_ok=True)
    sheet = folder / "run.toml"
    sheet.write_text(text, encoding="utf-8")
    return sheet
