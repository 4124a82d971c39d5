"""Stills as luma planes: pictures from files, or some spread over a clip."""

from collections.abc import Sequence
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt

from matchvision.errors import FootageError
from matchvision.footage.reading import read_facts, read_frames

#: Endings of picture files; anything else is taken for a clip.
PICTURE_ENDINGS = frozenset({".png", ".jpg", ".jpeg", ".bmp", ".tif", ".tiff", ".webp"})
#: Pictures that are taken from a clip.
FROM_A_CLIP = 24


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
        if path.suffix.lower() in PICTURE_ENDINGS:
            stills[_name(path, stills)] = _read_picture(path)
        else:
            stills.update(_read_from_clip(path))
    return stills


def _read_picture(path: Path) -> npt.NDArray[np.uint8]:
    try:
        content = np.frombuffer(path.read_bytes(), dtype=np.uint8)
    except OSError as error:
        what = f"the picture cannot be read ({error.strerror})"
        raise FootageError(what, where=str(path), do="check the file's name") from error
    picture = cv2.imdecode(content, cv2.IMREAD_GRAYSCALE) if len(content) else None
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
