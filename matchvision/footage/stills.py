"""Stills as luma planes: pictures from files, or some spread over a clip."""

import hashlib
from collections.abc import Sequence
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt

from matchvision.errors import FootageError
from matchvision.footage.reading import read_facts, read_frames
from matchvision.records.frames import ClipFacts, Frame

#: Endings of picture files; anything else is taken for a clip.
PICTURE_ENDINGS = frozenset({".png", ".jpg", ".jpeg", ".bmp", ".tif", ".tiff", ".webp"})
#: Pictures that are taken from a clip.
FROM_A_CLIP = 24


def is_still(path: Path) -> bool:
    """Whether a file is a single picture, by its name."""
    return path.suffix.lower() in PICTURE_ENDINGS


def read_stills(paths: Sequence[Path]) -> dict[str, npt.NDArray[np.uint8]]:
    """Luma planes (rows, cols) by name, upright.

    Parameters
    ----------
    paths : sequence of Path
        Picture files; of a clip, some pictures spread evenly over it are taken.

    Raises
    ------
    FootageError
        Where a file is missing or holds no picture.

    Notes
    -----
    Checked by: tests/footage/test_stills.py::test_pictures_keep_their_values
    """
    stills: dict[str, npt.NDArray[np.uint8]] = {}
    for path in paths:
        if is_still(path):
            stills[_name(path, stills)] = _read_picture(path)
        else:
            stills.update(_read_from_clip(path))
    return stills


def _read_picture(path: Path) -> npt.NDArray[np.uint8]:
    return _decode_picture(path, cv2.IMREAD_GRAYSCALE)


def _decode_picture(path: Path, kind: int) -> npt.NDArray[np.uint8]:
    try:
        content = np.frombuffer(path.read_bytes(), dtype=np.uint8)
    except OSError as error:
        what = f"the picture cannot be read ({error.strerror})"
        raise FootageError(what, where=str(path), do="check the file's name") from error
    picture = cv2.imdecode(content, kind) if len(content) else None
    if picture is None:
        raise FootageError("this is no picture", where=str(path), do="give stills as PNG or JPEG, or a clip")
    return np.asarray(picture, dtype=np.uint8)


def _read_from_clip(path: Path) -> dict[str, npt.NDArray[np.uint8]]:
    facts = read_facts(path)
    step = max(1, round(facts.duration_s * facts.frame_rate_per_s / FROM_A_CLIP))
    return {
        f"{path.name} at {frame.clip_s:.2f} s": frame.luma.copy()
        for frame in read_frames(facts)
        if frame.index % step == step // 2
    }


def _name(path: Path, taken: dict[str, npt.NDArray[np.uint8]]) -> str:
    """The file's name; where two folders hold the same, with its folder."""
    return path.name if path.name not in taken else str(path)


def read_still(path: Path) -> tuple[ClipFacts, Frame]:
    """A single picture as a frame, turned upright as its file asks, with facts as of a clip of one picture.

    Raises
    ------
    FootageError
        The file is missing or holds no picture.

    Notes
    -----
    Checked by: tests/footage/test_stills.py::test_a_still_is_a_frame_in_the_published_colours
    """
    picture = _decode_picture(path, cv2.IMREAD_COLOR)
    luma, red, blue = cv2.split(cv2.cvtColor(picture, cv2.COLOR_BGR2YCrCb))  # full range, ITU-R BT.601
    frame = Frame(
        index=0,
        clip_s=0.0,
        luma=np.asarray(luma, dtype=np.uint8),
        blue=np.asarray(blue, dtype=np.uint8),
        red=np.asarray(red, dtype=np.uint8),
        chroma_step_px=(1, 1),
        chroma_offset_px=(0.0, 0.0),
    )
    rows, cols = frame.luma.shape
    facts = ClipFacts(
        path=path,
        sha256=hashlib.sha256(path.read_bytes()).hexdigest(),
        codec=path.suffix.lstrip(".").lower(),
        pixel_format="yuv444p",
        width_px=cols,
        height_px=rows,
        rotation_deg=0,
        mirrored=False,
        frame_rate_per_s=float("nan"),
        duration_s=0.0,
        matrix="bt601",
        full_range=True,
        transfer="srgb",
    )
    return facts, frame
