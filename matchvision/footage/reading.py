"""Frames of a clip: upright, as luma and chroma planes, with true presentation times."""

import hashlib
import itertools
from collections.abc import Iterator
from pathlib import Path

import av
import numpy as np
from av import VideoFrame
from av.container import InputContainer
from av.video.codeccontext import VideoCodecContext
from av.video.stream import VideoStream

from matchvision.errors import FootageError
from matchvision.footage.opening import open_clip
from matchvision.footage.planes import Turn, read_turn, take_frame
from matchvision.footage.timing import count_backward_steps, pair_in_order, scan_times
from matchvision.records.frames import ClipFacts, FootageFault, Frame

#: Codes of ITU-T H.273 for matrix coefficients and transfer characteristics.
_MATRICES = {1: "bt709", 4: "bt601", 5: "bt601", 6: "bt601", 7: "bt601", 9: "bt2020", 10: "bt2020"}
_TRANSFERS = {1: "bt709", 6: "bt601", 8: "linear", 13: "srgb", 14: "bt2020-10", 15: "bt2020-12", 16: "pq", 18: "hlg"}

#: Pictures decoded to see how the clip is turned and whether its times run forward.
_PICTURES_TO_PROBE = 32
#: Places in the clip from which a first look takes its pictures.
_PLACES_TO_LOOK = 12

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
    with open_clip(path) as (container, stream):
        probe = list(itertools.islice(_decode(container, stream), _PICTURES_TO_PROBE))
        if not probe:
            raise FootageError(_NO_PICTURE, where=str(path), do=_PLAY_IT)
        context = stream.codec_context
        first = probe[0]
        turn = read_turn(first)
        backward = count_backward_steps(_time_s(p, path) for p in probe)
        times = scan_times(path)
        width, height = (first.height, first.width) if turn.quarter_turns % 2 else (first.width, first.height)
        rate = float(stream.average_rate or 0)
        transfer = int(context.color_trc or 2)
        pixel_format = first.format.name
        return ClipFacts(
            path=path,
            sha256=_fingerprint(path),
            codec=context.name,
            pixel_format=pixel_format,
            width_px=width,
            height_px=height,
            rotation_deg=90 * turn.quarter_turns,
            mirrored=turn.mirrored,
            frame_rate_per_s=rate,
            duration_s=float(times.shown_s[-1] - times.shown_s[0]) if len(times.shown_s) else 0.0,
            matrix=_MATRICES.get(int(context.colorspace or 2), "bt709" if min(width, height) >= 720 else "bt601"),
            full_range=pixel_format.startswith("yuvj") or int(context.color_range or 0) == 2,
            transfer=_TRANSFERS.get(transfer, ""),
            faults=(*_order_faults(backward), *_container_faults(container, stream, first, rate)),
            stated_duration_s=_stated_duration_s(container, stream),
        )


def _stated_duration_s(container: InputContainer, stream: VideoStream) -> float:
    """How long the container says that it lasts, NaN where it does not say."""
    if stream.duration is not None and stream.time_base is not None:
        return float(stream.duration * stream.time_base)
    return container.duration / av.time_base if container.duration is not None else float("nan")


def read_frames(facts: ClipFacts) -> Iterator[Frame]:
    """All pictures in order of presentation, the first shown at ``clip_s = 0``; memory stays constant.

    Pictures that cannot be decoded, or only in part, are left out; `describe_footage` counts them.

    Raises
    ------
    FootageError
        The clip cannot be opened any more, or not one picture can be decoded.

    Notes
    -----
    A frame's planes look into the decoder's memory and keep it alive; holding many frames costs their full size.
    Checked by: tests/published/test_phone_times.py::test_times_of_a_phone_clip_agree_with_the_published_ones
    """
    turn, centred = _turn(facts), _chroma_is_centred(facts)
    first_s = None
    with open_clip(facts.path) as (container, stream):
        timed = ((_time_s(p, facts.path), p) for p in _decode(container, stream))
        for index, (time_s, picture) in enumerate(pair_in_order(timed, _reorder_depth(stream.codec_context))):
            if first_s is None:
                first_s = time_s
            yield take_frame(picture, index, time_s - first_s, turn, centred)
    if first_s is None:
        raise FootageError(_NO_PICTURE, where=str(facts.path), do=_PLAY_IT)


def first_look(facts: ClipFacts, at_most: int = 60) -> tuple[Frame, ...]:
    """At most so many frames, in short runs spread over the clip, the first frame among them.

    Runs start where decoding can start, so that little more is decoded than is given.

    Parameters
    ----------
    at_most : int
        Number of frames wanted, at least 1.
    """
    times = scan_times(facts.path)
    starts_s = times.keyframe_s
    if len(starts_s) > _PLACES_TO_LOOK:
        spread = np.linspace(0, len(starts_s) - 1, min(_PLACES_TO_LOOK, at_most)).round().astype(int)
        starts_s = starts_s[spread]
    starts_s = starts_s[: max(1, at_most)]
    if len(starts_s) < 2 or (facts.faults and any("out of order" in f.what for f in facts.faults)):
        return tuple(itertools.islice(read_frames(facts), at_most))
    run = max(1, at_most // len(starts_s))
    turn, centred = _turn(facts), _chroma_is_centred(facts)
    frames: dict[int, Frame] = {}
    with open_clip(facts.path) as (container, stream):
        for start_s in starts_s:
            container.seek(round(float(start_s) / float(stream.time_base or 1)), stream=stream, backward=True)
            taken = 0
            for picture in _decode(container, stream):
                time_s = _time_s(picture, facts.path)
                if time_s < start_s - 1e-6:
                    continue
                index = int(np.searchsorted(times.shown_s, time_s - 1e-6))
                frames[index] = take_frame(picture, index, time_s - float(times.shown_s[0]), turn, centred)
                taken += 1
                if taken == run:
                    break
    if not frames:
        raise FootageError(_NO_PICTURE, where=str(facts.path), do=_PLAY_IT)
    return tuple(frames[i] for i in sorted(frames))


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
    if picture.pts is None or picture.time_base is None:
        msg = "a picture carries no presentation time"
        raise FootageError(msg, where=str(path), do="put the pictures into an mp4 or mkv file that keeps their times")
    return float(picture.pts * picture.time_base)


def _reorder_depth(context: VideoCodecContext) -> int:
    return min(16, int(context.reorder_depth))


def _turn(facts: ClipFacts) -> Turn:
    return Turn(facts.rotation_deg // 90, facts.mirrored)


def _chroma_is_centred(facts: ClipFacts) -> bool:
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


def _container_faults(
    container: InputContainer, stream: VideoStream, first: VideoFrame, rate: float
) -> tuple[FootageFault, ...]:
    faults = []
    metadata = {k.lower(): v for k, v in {**container.metadata, **stream.metadata}.items()}
    for key, value in metadata.items():
        if "capture" in key and "fps" in key:
            try:
                recorded = float(value)
            except ValueError:
                continue
            if rate > 0 and recorded > 1.2 * rate:
                faults.append(
                    FootageFault(
                        what=f"slow motion: recorded at {recorded:.0f} pictures a second, played at {rate:.0f}",
                        consequence=f"read at face value all speeds are {recorded / rate:.1f} times too low",
                        do=f"write recorded_fps = {recorded:.0f} in the sheet's [clock]",
                    )
                )
    if first.interlaced_frame:
        faults.append(
            FootageFault(
                what="the pictures are interlaced: odd and even rows were taken at different times",
                consequence="moving markers look torn and their places are less sure",
                do="film in a progressive mode (a 'p' in the camera's format name)",
            )
        )
    return tuple(faults)
