"""The marked clip: the footage once more, with what was measured drawn in, playable in any browser."""

import contextlib
from collections.abc import Callable, Iterable
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import numpy.typing as npt
from av import VideoFrame
from av.container import OutputContainer
from av.video.stream import VideoStream

from matchvision.errors import OutputError
from matchvision.records.frames import ClipFacts, Frame
from matchvision.records.results import Analysis
from matchvision.report.canvas import Canvas
from matchvision.report.overlay import Overlay

Plane = npt.NDArray[np.uint8]

#: Codes of ITU-T H.273 that tell a player how to show the colours.
_MATRIX_CODES = {"bt709": 1, "bt601": 6, "bt2020": 9}
_TRANSFER_CODES = {
    "bt709": 1, "bt601": 6, "linear": 8, "srgb": 13, "bt2020-10": 14, "bt2020-12": 15, "pq": 16, "hlg": 18,
}  # fmt: skip
#: Ticks of the marked clip's times: a picture's time is kept to 6 µs.
_TICKS_PER_S = 90_000
#: How the clip is written: quick to make, and quick to seek in while the rope is pulled.
_ENCODING = {"preset": "veryfast", "crf": "23", "bf": "0", "g": "30"}


def mark_clip(
    analysis: Analysis, frames: Iterable[Frame], path: Path, progress: Callable[[int, int], None] | None = None
) -> Path:
    """Write the marked clip to ``path`` (mp4, H.264), whole or not at all, and return the path.

    Every picture that was analysed appears at its own time, upright, cut to even width and height. Of a clip that was
    analysed in part only that part is written, its first picture at time 0.

    Parameters
    ----------
    frames : iterable of Frame
        The pictures that were analysed, read a second time by the reader that gave them the first time; they are taken
        one by one and none is kept.
    progress : callable, optional
        Told how many pictures are done, and of how many.

    Raises
    ------
    OutputError
        The marked clip cannot be written.

    Notes
    -----
    Checked by: tests/report/test_marking.py::test_marked_clip_keeps_every_time
    """
    unfinished = path.with_name(f".{path.name}.unfinished")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with av.open(str(unfinished), "w", format="mp4", options={"movflags": "+faststart"}) as target:
            _write_marked(analysis, frames, target, progress)
        unfinished.replace(path)
    except (av.error.FFmpegError, OSError) as reason:
        raise OutputError(
            f"the marked clip cannot be written: {reason.strerror}",
            where=str(path),
            do="choose another folder with --out",
        ) from reason
    finally:
        with contextlib.suppress(OSError):
            unfinished.unlink()
    return path


def _write_marked(
    analysis: Analysis,
    frames: Iterable[Frame],
    target: OutputContainer,
    progress: Callable[[int, int], None] | None,
) -> None:
    facts, clip_s = analysis.clip, analysis.motion.clip_s
    canvas = Canvas(
        facts.width_px // 2 * 2,
        facts.height_px // 2 * 2,
        facts.matrix,
        full_range=facts.full_range,
        transfer=facts.transfer,
    )
    written = _open_track(target, canvas, facts)
    overlay = Overlay(analysis, canvas)
    for k, frame in zip(range(len(clip_s)), frames, strict=False):
        canvas.show(frame.luma, *_chroma_at_half(frame))
        overlay.draw(canvas, k)
        marked = VideoFrame.from_ndarray(canvas.block, format="yuv420p")
        marked.pts = round(float(clip_s[k] - clip_s[0]) * _TICKS_PER_S)
        marked.time_base = Fraction(1, _TICKS_PER_S)
        target.mux(written.encode(marked))
        if progress is not None and (k % 10 == 9 or k + 1 == len(clip_s)):
            progress(k + 1, len(clip_s))
    target.mux(written.encode(None))


def _chroma_at_half(frame: Frame) -> tuple[Plane, Plane]:
    """Blue and red with one sample to two by two pixels; finer ones are picked out."""
    step_col, step_row = frame.chroma_step_px
    pick = np.s_[:: max(1, 2 // step_row), :: max(1, 2 // step_col)]
    return frame.blue[pick], frame.red[pick]


def _open_track(target: OutputContainer, canvas: Canvas, facts: ClipFacts) -> VideoStream:
    track = target.add_stream("libx264", rate=Fraction(facts.frame_rate_per_s or 30).limit_denominator(1001))
    if not isinstance(track, VideoStream):
        raise OutputError("this computer's video library cannot write H.264", do="install PyAV from its wheels")
    track.width, track.height = canvas.width_px, canvas.height_px
    track.pix_fmt = "yuv420p"
    track.options = dict(_ENCODING)
    context = track.codec_context
    context.time_base = Fraction(1, _TICKS_PER_S)
    context.color_range = 2 if facts.full_range else 1
    code = _MATRIX_CODES.get(facts.matrix, 1)
    context.colorspace = code
    context.color_primaries = code
    # The pictures keep the clip's own codes: a player has to know their curve, above all that of an HDR clip.
    context.color_trc = _TRANSFER_CODES.get(facts.transfer, code)
    return track
