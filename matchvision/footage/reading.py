"""Frames of a clip: upright, as luma and chroma planes, with true presentation times."""

import hashlib
import itertools
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import av
import numpy as np
from av import VideoFrame
from av.container import InputContainer
from av.video.codeccontext import VideoCodecContext
from av.video.stream import VideoStream

from matchvision.errors import FootageError
from matchvision.footage.capture import find_rate_faults, is_slow_motion, read_capture_rate, read_readout
from matchvision.footage.doubles import mark_doubles
from matchvision.footage.opening import open_clip
from matchvision.footage.planes import RGB_MATRIX, Turn, read_turn, take_frame
from matchvision.footage.threads import glancing_threads
from matchvision.footage.timing import SAME_TIME_S, ClipTimes, count_backward_steps, pair_in_order, scan_times
from matchvision.records.frames import ClipFacts, FootageFault, Frame

#: Codes of ITU-T H.273 for matrix coefficients and transfer characteristics.
_MATRICES = {1: "bt709", 4: "bt601", 5: "bt601", 6: "bt601", 7: "bt601", 9: "bt2020", 10: "bt2020"}
_TRANSFERS = {1: "bt709", 6: "bt601", 8: "linear", 13: "srgb", 14: "bt2020-10", 15: "bt2020-12", 16: "pq", 18: "hlg"}

#: Their codes for what is not stated, and the reader's for full range.
_UNSTATED, _FULL = 2, 2
#: Pictures whose shorter side reaches this are in BT.709 where nothing is stated, smaller ones in BT.601.
_SMALLEST_HD_PX = 720

#: Pictures decoded to see how the clip is turned and whether its times run forward: where they do not, the first group
#: of reordered pictures shows it.
_PICTURES_TO_PROBE = 12

_NO_PICTURE = "no picture can be decoded"
_PLAY_IT = "check that a video player shows the clip; if not, copy it from the phone again"


def read_facts(path: Path) -> ClipFacts:
    """What the clip's container and its first pictures say.

    Raises
    ------
    FootageError
        The clip cannot be opened or read, or no picture can be decoded.
    """
    path = Path(path)
    with open_clip(path, threads=glancing_threads()) as (container, stream), ThreadPoolExecutor(2) as aside:
        fingerprint, scanned = aside.submit(_fingerprint, path), aside.submit(scan_times, path)
        probe = itertools.islice(_decode(container, stream), _PICTURES_TO_PROBE)
        first = next(probe, None)
        if first is None:
            raise FootageError(_NO_PICTURE, where=str(path), do=_PLAY_IT)
        context = stream.codec_context
        turn = read_turn(first)
        backward = count_backward_steps(_time_s(p, path) for p in itertools.chain([first], probe))
        times = scanned.result()
        width, height = (first.height, first.width) if turn.quarter_turns % 2 else (first.width, first.height)
        notes = {**container.metadata, **stream.metadata}
        recorded = read_capture_rate(notes)
        transfers = (_TRANSFERS.get(int(code or _UNSTATED)) for code in (first.color_trc, context.color_trc))
        return ClipFacts(
            path=path,
            sha256=fingerprint.result(),
            codec=context.codec.canonical_name,
            pixel_format=first.format.name,
            width_px=width,
            height_px=height,
            rotation_deg=90 * turn.quarter_turns,
            mirrored=turn.mirrored,
            frame_rate_per_s=float(stream.average_rate or 0),
            picture_rate_per_s=times.rate_per_s,
            recorded_rate_per_s=recorded if is_slow_motion(recorded, times.rate_per_s) else float("nan"),
            duration_s=float(times.shown_s[-1] - times.shown_s[0]) if len(times.shown_s) else 0.0,
            matrix=_matrix(first, context),
            full_range=_is_full_range(first, context),
            transfer=next((name for name in transfers if name is not None), ""),
            faults=(
                *_order_faults(backward),
                *_cut_faults(times, _reorder_depth(context)),
                *find_rate_faults(recorded, times.rate_per_s),
                *_picture_faults(stream, first),
            ),
            stated_duration_s=_stated_duration_s(container, stream),
            readout_s=read_readout(notes),
        )


def _matrix(picture: VideoFrame, context: VideoCodecContext) -> str:
    """As picture or track state it; else by size, as players do."""
    if picture.format.is_rgb:
        return RGB_MATRIX
    usual = "bt709" if min(picture.width, picture.height) >= _SMALLEST_HD_PX else "bt601"
    stated = (_MATRICES.get(int(code or _UNSTATED)) for code in (picture.colorspace, context.colorspace))
    return next((matrix for matrix in stated if matrix is not None), usual)


def _is_full_range(picture: VideoFrame, context: VideoCodecContext) -> bool:
    if picture.format.is_rgb:
        return False
    return picture.format.name.startswith("yuvj") or _FULL in (int(picture.color_range), int(context.color_range or 0))


def _stated_duration_s(container: InputContainer, stream: VideoStream) -> float:
    """How long the container says that it lasts, NaN where it does not say."""
    if stream.duration is not None and stream.time_base is not None:
        return float(stream.duration * stream.time_base)
    return container.duration / av.time_base if container.duration is not None else float("nan")


def read_frames(
    facts: ClipFacts, from_s: float | None = None, until_s: float | None = None, *, some: bool = False
) -> Iterator[Frame]:
    """Pictures in order of presentation, the first of the clip shown at ``clip_s = 0``; memory stays constant.

    Pictures that cannot be decoded, or only in part, are left out; `describe_footage` counts them.

    Parameters
    ----------
    from_s, until_s : float, optional
        Give only the pictures shown from here to there [s, clip time]. Decoding starts at the last place before at
        which it can; ``clip_s`` and ``index`` stay those of the whole clip.
    some : bool
        Only the first of them are wanted, and not many decoded ahead.

    Raises
    ------
    FootageError
        The clip cannot be opened any more, or not one picture can be decoded.

    Notes
    -----
    A frame's planes look into the decoder's memory and keep it alive; holding many frames costs their full size.
    Checked by: tests/published/test_phone_times.py::test_times_of_a_phone_clip_agree_with_the_published_ones
    """
    threads = glancing_threads() if some else None
    if from_s is None and until_s is None:
        yield from mark_doubles(read_all(facts, threads))
        return
    times = scan_times(facts.path)
    if has_unsorted_times(facts):
        # Sorted times belong to pictures only when all are decoded in turn.
        frames: Iterator[Frame] = read_all(facts, threads)
    else:
        frames = _read_after_seeking(facts, times, -np.inf if from_s is None else from_s, threads)
    given = False
    for frame in mark_doubles(frames):
        if until_s is not None and frame.clip_s > until_s + SAME_TIME_S:
            break
        if from_s is None or frame.clip_s >= from_s - SAME_TIME_S:
            given = True
            yield frame
    if not given:
        last_s = float(times.shown_s[-1] - times.shown_s[0]) if len(times.shown_s) else 0.0
        msg = f"no picture can be decoded between {from_s or 0.0:.2f} s and {until_s or last_s:.2f} s"
        raise FootageError(msg, where=str(facts.path), do=f"the clip lasts {last_s:.2f} s; name a part of it")


def read_all(facts: ClipFacts, threads: int | None = None) -> Iterator[Frame]:
    """Pictures of the whole clip, those that repeat the one before not marked; ``threads`` as of `open_clip`."""
    turn, centred = _turn(facts), chroma_is_centred(facts)
    # Counted and timed by what the file stores: a picture that cannot be decoded keeps its number and its time.
    times = scan_times(facts.path)
    shown = False
    with open_clip(facts.path, threads=threads) as (container, stream):
        timed = ((_time_s(p, facts.path), p) for p in _decode(container, stream))
        for time_s, picture in pair_in_order(timed, _reorder_depth(stream.codec_context)):
            shown = True
            yield take_frame(picture, times.number_at(time_s), time_s - times.first_s, turn, centred)
    if not shown:
        raise FootageError(_NO_PICTURE, where=str(facts.path), do=_PLAY_IT)


def _read_after_seeking(facts: ClipFacts, times: ClipTimes, from_s: float, threads: int | None) -> Iterator[Frame]:
    """Pictures from the last one before ``from_s`` at which decoding can start; some come before ``from_s``."""
    turn, centred = _turn(facts), chroma_is_centred(facts)
    before = times.keyframe_s[times.keyframe_s <= times.first_s + from_s + SAME_TIME_S]
    with open_clip(facts.path, threads=threads) as (container, stream):
        if len(before) and before[-1] > times.first_s:
            container.seek(round(float(before[-1]) / float(stream.time_base or 1)), stream=stream, backward=True)
        for picture in _decode(container, stream):
            time_s = _time_s(picture, facts.path)
            yield take_frame(picture, times.number_at(time_s), time_s - times.first_s, turn, centred)


def _decode(container: InputContainer, stream: VideoStream) -> Iterator[VideoFrame]:
    """Whole pictures in order of decoding; a damaged packet costs its picture and no more."""
    packets = container.demux(stream)
    while True:
        try:
            packet = next(packets)
        except (StopIteration, av.error.InvalidDataError, av.error.EOFError):
            return
        try:
            pictures = packet.decode()
        except av.error.InvalidDataError:
            continue
        for picture in pictures:
            if isinstance(picture, VideoFrame) and not picture.is_corrupt:
                yield picture


def _time_s(picture: VideoFrame, path: Path) -> float:
    if picture.pts is None:
        msg = "a picture carries no presentation time"
        raise FootageError(msg, where=str(path), do="put the pictures into an mp4 or mkv file that keeps their times")
    # Its times as a fraction would take thirty times as long, for every picture.
    return float(picture.time)


def _reorder_depth(context: VideoCodecContext) -> int:
    return min(16, int(context.reorder_depth))


def _turn(facts: ClipFacts) -> Turn:
    return Turn(facts.rotation_deg // 90, facts.mirrored)


def has_unsorted_times(facts: ClipFacts) -> bool:
    """Whether the file stores times in another order than that of its pictures."""
    return any("out of order" in f.what for f in facts.faults)


def chroma_is_centred(facts: ClipFacts) -> bool:
    """Whether chroma samples lie midway between luma columns."""
    # MPEG codecs place chroma on the even columns unless they say otherwise, JPEG midway.
    return facts.codec in {"mjpeg", "vp8"}


def _fingerprint(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _order_faults(backward: int) -> tuple[FootageFault, ...]:
    if not backward:
        return ()
    return (
        FootageFault(
            what=f"the file stores picture times out of order ({backward} steps back among the first pictures)",
            consequence="the times were sorted; single pictures may be timed wrongly by a frame",
            do="use the file as the camera wrote it, not one converted on a computer",
        ),
    )


def _cut_faults(times: ClipTimes, depth: int) -> tuple[FootageFault, ...]:
    """Of a piece that an editor took out of the middle: its reader times what follows late where order was changed."""
    if not times.is_cut or not depth:
        return ()
    steps_s = np.diff(times.shown_s)
    late_s = float(np.max(steps_s) - np.median(steps_s))
    if late_s < 0.5 * float(np.median(steps_s)):
        return ()
    return (
        FootageFault(
            what="a piece was cut out of the clip's middle by an edit list, among pictures stored out of order",
            consequence=f"what follows the cut is timed late, by up to {1000 * late_s:.0f} ms",
            do="use the clip as the camera wrote it, or let the editor write it anew",
        ),
    )


def _picture_faults(stream: VideoStream, first: VideoFrame) -> tuple[FootageFault, ...]:
    faults = []
    if first.interlaced_frame:
        faults.append(
            FootageFault(
                what="the pictures are interlaced: odd and even rows were taken at different times",
                consequence="moving markers look torn and their places are less sure",
                do="film in a progressive mode (a 'p' in the camera's format name)",
            )
        )
    aspect = stream.sample_aspect_ratio
    if aspect and aspect != 1:
        faults.append(
            FootageFault(
                what=f"the pixels are not square ({aspect.numerator} : {aspect.denominator})",
                consequence="the camera's two focal lengths differ by that, which is only found with a lens sheet",
                do="film in a mode with square pixels, or use the file as the camera wrote it",
            )
        )
    return tuple(faults)
