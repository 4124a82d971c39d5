"""The marked clip: the footage once more, with what was measured drawn in, playable in any browser."""

import contextlib
from collections.abc import Callable, Iterator
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import numpy.typing as npt
from av import VideoFrame
from av.container import InputContainer, OutputContainer
from av.video.stream import VideoStream

from matchvision.errors import FootageError, OutputError
from matchvision.records.frames import ClipFacts
from matchvision.records.results import Analysis
from matchvision.report.canvas import Canvas
from matchvision.report.overlay import Overlay

Plane = npt.NDArray[np.uint8]

#: Codes of ITU-T H.273 that tell a player how to show the colours.
_MATRIX_CODES = {"bt709": 1, "bt601": 6, "bt2020": 9}
#: How the clip is written: quick to make, and quick to seek in while the rope is pulled.
_ENCODING = {"preset": "veryfast", "crf": "23", "bf": "0", "g": "30"}


def mark_clip(analysis: Analysis, path: Path, progress: Callable[[int, int], None] | None = None) -> Path:
    """Write the marked clip to ``path`` (mp4, H.264), whole or not at all, and return the path.

    Every picture that was analysed appears at its own time, upright, cut to even width and height. Of a clip that was
    analysed in part only that part is written, its first picture at time 0. The second pass decodes by itself;
    nothing is kept in memory beyond a picture.

    Parameters
    ----------
    progress : callable, optional
        Told how many pictures are done, and of how many.

    Raises
    ------
    FootageError
        The clip is gone or cannot be read any more.
    OutputError
        The marked clip cannot be written.

    Notes
    -----
    Checked by: tests/report/test_marking.py::test_marked_clip_keeps_every_time
    """
    unfinished = path.with_name(f".{path.name}.unfinished")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        try:
            source = av.open(str(analysis.clip.path))
        except (av.error.FFmpegError, OSError) as reason:
            raise FootageError(
                "the clip cannot be opened a second time",
                where=str(analysis.clip.path),
                do="keep it where the sheet says",
            ) from reason
        with source, av.open(str(unfinished), "w", format="mp4", options={"movflags": "+faststart"}) as target:
            _write_marked(analysis, source, target, progress)
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
    source: InputContainer,
    target: OutputContainer,
    progress: Callable[[int, int], None] | None,
) -> None:
    facts, clip_s = analysis.clip, analysis.motion.clip_s
    stream = source.streams.best("video")
    if not isinstance(stream, VideoStream):
        raise FootageError("there is no picture track any more", where=str(facts.path), do="keep the clip as it was")
    stream.thread_type = "AUTO"
    canvas = Canvas(facts.width_px // 2 * 2, facts.height_px // 2 * 2, facts.matrix, full_range=facts.full_range)
    ticks_per_s = _time_base(stream)
    written = _open_track(target, canvas, facts, ticks_per_s)
    overlay = Overlay(analysis)
    pictures = _whole_pictures(source, stream)
    if clip_s[0] > 0:
        pictures = _pictures_from(source, stream, float(clip_s[0]))
    for k, picture in zip(range(len(clip_s)), pictures, strict=False):
        canvas.show(*_upright_planes(picture, facts))
        overlay.draw(canvas, k)
        marked = VideoFrame.from_ndarray(canvas.block, format="yuv420p")
        marked.pts = round(float(clip_s[k] - clip_s[0]) * ticks_per_s)
        marked.time_base = Fraction(1, ticks_per_s)
        target.mux(written.encode(marked))
        if progress is not None and (k % 10 == 9 or k + 1 == len(clip_s)):
            progress(k + 1, len(clip_s))
    target.mux(written.encode(None))


def _time_base(stream: VideoStream) -> int:
    """Ticks a second: the clip's own where a tick is a whole part of a second, so that times stay exact."""
    base = stream.time_base
    return base.denominator if base is not None and base.numerator == 1 and base.denominator >= 600 else 90_000


def _open_track(target: OutputContainer, canvas: Canvas, facts: ClipFacts, ticks_per_s: int) -> VideoStream:
    track = target.add_stream("libx264", rate=Fraction(facts.frame_rate_per_s or 30).limit_denominator(1001))
    if not isinstance(track, VideoStream):
        raise OutputError("this computer's video library cannot write H.264", do="install PyAV from its wheels")
    track.width, track.height = canvas.width_px, canvas.height_px
    track.pix_fmt = "yuv420p"
    track.options = dict(_ENCODING)
    context = track.codec_context
    context.time_base = Fraction(1, ticks_per_s)
    context.color_range = 2 if facts.full_range else 1
    code = _MATRIX_CODES.get(facts.matrix, 1)
    context.colorspace = code
    context.color_primaries = code
    return track


def _whole_pictures(source: InputContainer, stream: VideoStream) -> Iterator[VideoFrame]:
    """The pictures that were analysed: damaged ones left out, as in the first pass."""
    packets = source.demux(stream)
    while True:
        try:
            packet = next(packets)
        except (StopIteration, av.error.InvalidDataError, av.error.EOFError):
            return
        try:
            pictures = packet.decode()
        except av.error.InvalidDataError:
            continue
        yield from (p for p in pictures if isinstance(p, VideoFrame) and not p.is_corrupt)


def _pictures_from(source: InputContainer, stream: VideoStream, from_s: float) -> Iterator[VideoFrame]:
    """The pictures of a part of the clip that starts at ``from_s`` after the clip's first picture."""
    first = next(_whole_pictures(source, stream))
    start_s = float(first.time or 0.0) + from_s
    source.seek(int(start_s / float(stream.time_base or 1)), stream=stream, backward=True)
    yield from (p for p in _whole_pictures(source, stream) if float(p.time or 0.0) > start_s - 1e-4)


def _upright_planes(picture: VideoFrame, facts: ClipFacts) -> tuple[Plane, Plane, Plane]:
    if picture.format.name not in ("yuv420p", "yuvj420p"):
        picture = picture.reformat(format="yuv420p")
    planes = []
    for plane, step in zip(picture.planes, (1, 2, 2), strict=True):
        rows, cols = -(-picture.height // step), -(-picture.width // step)
        whole = np.frombuffer(memoryview(plane), dtype=np.uint8)
        view = whole[: rows * plane.line_size].reshape(rows, plane.line_size)[:, :cols]
        view = view[:, ::-1] if facts.mirrored else view
        planes.append(np.rot90(view, facts.rotation_deg // 90) if facts.rotation_deg else view)
    return planes[0], planes[1], planes[2]
