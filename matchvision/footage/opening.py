"""Opening a clip and choosing its picture track, with errors that a person can act on."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import av
from av.container import InputContainer
from av.stream import Disposition
from av.video.stream import VideoStream

from matchvision.errors import FootageError
from matchvision.footage.threads import decoding_threads

#: Decoders that libav offers for plain text: a text file opened as a clip must not become pictures of letters.
TEXT_CODECS = frozenset({"ansi", "bintext", "xbin", "idf", "tty"})

_FILM_AGAIN = "copy the clip from the phone again, in full, and check that a video player shows it"


@contextmanager
def open_clip(
    path: Path, options: dict[str, str] | None = None, threads: int | None = None
) -> Iterator[tuple[InputContainer, VideoStream]]:
    """Open a clip and its first picture track that is not a cover picture.

    ``options`` are for the container's reader. Decoding is shared out among so many ``threads`` that it uses all
    processor cores, if not told otherwise.

    Raises
    ------
    FootageError
        The file is missing, a folder, no video, cut short, or holds no picture track.
    """
    _check_is_file(path)
    try:
        container = av.open(str(path), options=options or {})
    except (av.error.FFmpegError, OSError, ValueError) as error:
        raise FootageError(_why_unreadable(path), where=str(path), do=_FILM_AGAIN) from error
    try:
        stream = _picture_track(container, path)
        stream.thread_type = "AUTO"
        if stream.codec_context is not None:  # as it is of a track that nothing here can decode
            stream.codec_context.thread_count = threads or decoding_threads()
        yield container, stream
    finally:
        container.close()


def _check_is_file(path: Path) -> None:
    if path.is_dir():
        msg = "this is a folder, not a clip"
        raise FootageError(msg, where=str(path), do="name the video file inside it, in the sheet's [run] clip")
    if not path.exists():
        there = sorted(p.name for p in path.parent.iterdir() if p.is_file())[:8] if path.parent.is_dir() else []
        found = (
            f"; the folder holds {', '.join(there)}"
            if there
            else "; its folder holds no file"
            if path.parent.is_dir()
            else "; nor is there its folder"
        )
        msg = f"there is no such clip{found}"
        raise FootageError(msg, where=str(path), do="check the name; a run sheet names its clip under [run] clip")
    if path.stat().st_size == 0:
        msg = "the clip is empty (0 bytes)"
        raise FootageError(msg, where=str(path), do=_FILM_AGAIN)


def _why_unreadable(path: Path) -> str:
    """Tell a text file and a cut-off recording from a file of unknown kind."""
    with path.open("rb") as file:
        head = file.read(4096)
    kilobytes = path.stat().st_size / 1000
    if head[4:8] == b"ftyp":
        return (
            f"the recording was cut short: its table of contents, which cameras write last, is missing "
            f"({kilobytes:.0f} kB found)"
        )
    if _holds_text(path):
        return "this is a text file, not a clip"
    return f"this file is no video that can be read ({kilobytes:.0f} kB found)"


def _holds_text(path: Path) -> bool:
    with path.open("rb") as file:
        return b"\0" not in file.read(4096)


def _picture_track(container: InputContainer, path: Path) -> VideoStream:
    tracks = [s for s in container.streams.video if not s.disposition & Disposition.attached_pic]
    is_text = tracks and tracks[0].codec_context is not None and tracks[0].codec_context.name in TEXT_CODECS
    # Subtitles are text that libav opens.
    if is_text or (not tracks and _holds_text(path)):
        msg = "this is a text file, not a clip"
        raise FootageError(msg, where=str(path), do="name a video file; a run sheet names its clip under [run] clip")
    if not tracks:
        kinds = ", ".join(sorted({s.type for s in container.streams})) or "nothing"
        msg = f"there is no picture track in this file (found: {kinds})"
        raise FootageError(msg, where=str(path), do="use the file that the camera wrote, with its pictures")
    return tracks[0]
