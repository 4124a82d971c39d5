"""What watching a clip costs beside decoding it: time, memory, growth with length, and two clips at once.

The clip: the 1080p sample run, played forwards and backwards in turn at 60 pictures/s and 20 Mb/s with a picture a
second at which decoding can start, so that motion never jumps. Each candidate runs in a process of its own, all in turn
several times, so that ratios hold where the machine's speed drifts. Processor time is counted too: where other work
disturbs, its ratio still holds.
"""

import io
import json
import re
import resource
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Callable, Iterator
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

import av
import cv2
import numpy as np

if TYPE_CHECKING:
    import pandas as pd

SAMPLE = Path(__file__).parent.parent / "sample_clips" / "hitch-slips"
TURNS = 3
BIT_RATE = 20_000_000
#: Lengths for growth in segments of 7.6 s; ratios are measured at the third.
LENGTHS = (1, 2, 4, 8)
#: Lengths for memory: one that fills whatever is kept in blocks, several times over, is among them.
MEMORY_LENGTHS = (1, 4, 32)
#: Frames of an hour of 60 pictures a second, kept as a pass keeps them.
HOUR_FRAMES = 60 * 60 * 60
#: Bounds that we set ourselves; None where there is none.
RATIO_LIMIT, MEMORY_LIMIT_MB, SCRIPT_LIMIT = 1.15, 400.0, 2.0


def measure() -> "pd.DataFrame":
    """One row a figure, its limit beside it."""
    # Not at the top: the candidates import this module, and their memory is measured.
    import pandas as pd

    with tempfile.TemporaryDirectory() as scratch:
        runs = {length: Path(scratch) / str(length) for length in sorted({*LENGTHS, *MEMORY_LENGTHS})}
        segment = encode_segment()
        for length, folder in runs.items():
            lay_out_run(folder, segment, length)
        usual = runs[LENGTHS[2]]
        ours = Path(scratch) / "fourteen"
        lay_out_run(ours, segment, LENGTHS[2], rope_only=True)
        rows = _compare(usual, ours)
        for length in MEMORY_LENGTHS:
            peak_MB = run_candidate("watch_cold", runs[length])["peak_memory_MB"]
            rows.append(_row(f"peak memory, {seconds(length):.0f} s [MB]", peak_MB, MEMORY_LIMIT_MB))
        rows += _keep_an_hour(usual)
        rows += _grow({length: runs[length] for length in LENGTHS})
        rows += _run_two(usual)
        costs = run_candidate("costs", usual)
        rows += [_row(f"processor ms a frame: {name}", value, None) for name, value in costs.items()]
    return pd.DataFrame(rows)


def _row(figure: str, value: float, limit: float | None, *, least: bool = False) -> dict[str, Any]:
    met = "" if limit is None else "yes" if (value >= limit if least else value <= limit) else "no"
    return {"figure": figure, "value": value, "limit": np.nan if limit is None else limit, "met": met}


def _compare(usual: Path, ours: Path) -> list[dict[str, Any]]:
    """Ratios to decoding alone, each to the decoding that ran just before and just after."""
    ratios: dict[str, list[float]] = defaultdict(list)
    speeds: dict[str, list[float]] = defaultdict(list)
    beside: dict[str, list[float]] = defaultdict(list)
    memory: dict[str, list[float]] = defaultdict(list)
    before = run_candidate("decode", usual)
    for turn in range(TURNS):
        taken = {"14 markers": run_candidate("watch", ours), "22 markers": run_candidate("watch", usual)}
        own = run_candidate("decode_own", usual)
        after = run_candidate("decode", usual)
        wall_s, processor_s = ((before[k] + after[k]) / 2 for k in ("wall_s", "processor_s"))
        speeds["decoding alone"].append(after["frames"] / wall_s)
        for name, watch in taken.items():
            speeds[name].append(watch["frames"] / watch["wall_s"])
            ratios[f"pass alone, {name}"].append(watch["pass_wall_s"] / wall_s)
            ratios[f"pass alone, {name}, processor"].append(watch["pass_processor_s"] / processor_s)
            ratios[f"with first look, {name}"].append(watch["wall_s"] / wall_s)
            ratios[f"with first look, {name}, processor"].append(watch["processor_s"] / processor_s)
            beside[f"pass alone, {name}"].append(watch["pass_wall_s"] / own["wall_s"])
            memory[name].append(watch["peak_memory_MB"])
        if turn == 0:  # it takes so long that one turn must do
            script = run_candidate("script", usual)
            speeds["whole-frame threshold script"].append(script["frames"] / script["wall_s"])
        before = after
    rows = [_row(f"{name} [frames/s]", float(np.median(v)), None) for name, v in speeds.items()]
    rows += [_row(f"{name} / decoding alone", float(np.median(v)), RATIO_LIMIT) for name, v in ratios.items()]
    rows += [_row(f"{name} / decoding by libav's own threads", float(np.median(v)), None) for name, v in beside.items()]
    for name, peaks_MB in memory.items():
        rows.append(_row(f"peak memory, second clip of a process, {name} [MB]", max(peaks_MB), MEMORY_LIMIT_MB))
    ahead = float(np.median(speeds["22 markers"])) / speeds["whole-frame threshold script"][0]
    return [*rows, _row("speed with first look, 22 markers / threshold script's", ahead, SCRIPT_LIMIT, least=True)]


def _keep_an_hour(folder: Path) -> list[dict[str, Any]]:
    """What an hour's places, cameras and looks at the table take in memory, before and after they are joined."""
    kept = run_candidate("hour", folder)
    return [_row(f"memory for an hour of {name} [MB]", value, None) for name, value in kept.items()]


def _grow(runs: dict[int, Path]) -> list[dict[str, Any]]:
    """How time grows with the number of frames: the exponent, of the pass and with the first look."""
    taken = {length: run_candidate("watch", folder) for length, folder in runs.items()}
    frames = np.log([t["frames"] for t in taken.values()])
    span = f"{seconds(LENGTHS[0]):.0f} to {seconds(LENGTHS[-1]):.0f} s"
    return [
        _row(f"exponent, {name}, {span}", float(np.polyfit(frames, np.log([t[k] for t in taken.values()]), 1)[0]), 1.05)
        for name, k in (
            ("pass, wall", "pass_wall_s"),
            ("pass, processor", "pass_processor_s"),
            ("with first look, wall", "wall_s"),
        )
    ]


def _run_two(folder: Path) -> list[dict[str, Any]]:
    """Two analyses at once against one: pictures a second of both together, and how many cores each way used."""
    alone = run_candidate("watch", folder)
    pair = [start_candidate("watch", folder) for _ in range(2)]
    both = [finish_candidate(process) for process in pair]
    together = sum(b["frames"] / b["wall_s"] for b in both)
    return [
        _row("two at once: pictures/s of both over one alone", together / (alone["frames"] / alone["wall_s"]), None),
        _row("cores used by one alone", alone["processor_s"] / alone["wall_s"], None),
        _row("cores used by two at once", sum(b["processor_s"] / b["wall_s"] for b in both), None),
    ]


def seconds(length: int) -> float:
    """How long so many segments last [s]."""
    with av.open(str(SAMPLE / "clip.mp4")) as source:
        return length * 2 * source.streams.video[0].frames / 60


def encode_segment() -> bytes:
    """The sample forwards and backwards, encoded once; longer clips are copies of it in a row."""
    with av.open(str(SAMPLE / "clip.mp4")) as source:
        pictures = [frame.to_ndarray(format="yuv420p") for frame in source.decode(video=0)]
    file = io.BytesIO()
    with av.open(file, "w", format="mp4") as out:
        stream = out.add_stream("libx264", rate=60)
        stream.height, stream.width = pictures[0].shape[0] * 2 // 3, pictures[0].shape[1]
        stream.pix_fmt = "yuv420p"
        stream.bit_rate = BIT_RATE
        stream.options = {"preset": "veryfast", "g": "60"}
        stream.time_base = Fraction(1, 90_000)
        for index, picture in enumerate([*pictures, *reversed(pictures)]):
            frame = av.VideoFrame.from_ndarray(picture, format="yuv420p")
            frame.colorspace, frame.color_range = 1, 1
            frame.pts, frame.time_base = index * 1500, Fraction(1, 90_000)
            out.mux(stream.encode(frame))
        out.mux(stream.encode(None))
    return file.getvalue()


def lay_out_run(folder: Path, segment: bytes, length: int, *, rope_only: bool = False) -> None:
    """A run folder whose clip is the segment, so many times; its sheet names 22 markers, or the rope's 14 alone."""
    folder.mkdir()
    sheet = (SAMPLE / "run.toml").read_text()
    if rope_only:
        sheet = re.sub(r"\[\[machine\.\w+\.(marker|wheel)\]\]\n(?:(?!\[).*\n?)*", "", sheet)
    (folder / "run.toml").write_text(sheet)
    with av.open(str(folder / "clip.mp4"), "w") as out:
        track, shift = None, 0
        for _ in range(length):
            with av.open(io.BytesIO(segment), "r") as source:
                stream = source.streams.video[0]
                track = track or out.add_stream_from_template(stream)
                step = int(Fraction(1, 60) / (stream.time_base or 1)) * stream.frames
                for packet in source.demux(stream):
                    if packet.dts is not None and packet.pts is not None:
                        packet.pts, packet.dts, packet.stream = packet.pts + shift, packet.dts + shift, track
                        out.mux(packet)
            shift += step


def build_run(folder: Path, passes: int) -> None:
    """A run folder whose clip plays the sample forwards and backwards in turn, ``passes`` times in all (even)."""
    lay_out_run(folder, encode_segment(), passes // 2)


def run_candidate(name: str, folder: Path) -> dict[str, float]:
    """Run one candidate in its own process and read what it reports."""
    return finish_candidate(start_candidate(name, folder))


def start_candidate(name: str, folder: Path) -> "subprocess.Popen[str]":
    """Start a candidate in a process of its own."""
    return subprocess.Popen(
        [sys.executable, "-m", "benchmarks.throughput", name, str(folder)],
        stdout=subprocess.PIPE,
        text=True,
        cwd=Path(__file__).parent.parent,
    )


def finish_candidate(process: "subprocess.Popen[str]") -> dict[str, float]:
    """What a candidate reports in its last line."""
    said, _ = process.communicate()
    if process.returncode:
        raise subprocess.CalledProcessError(process.returncode, process.args)
    report: dict[str, float] = json.loads(said.splitlines()[-1])
    return report


def decoded(folder: Path, threads: int) -> Iterator[av.VideoFrame]:
    """Decoded pictures, untouched; libav chooses its own number of threads where none is given."""
    with av.open(str(folder / "clip.mp4")) as clip:
        stream = clip.streams.video[0]
        stream.thread_type, stream.codec_context.thread_count = "AUTO", threads
        yield from clip.decode(stream)


def decode_alone(folder: Path) -> int:
    """Frames decoded and dropped, by as many threads as ours: more than libav takes by itself, and faster."""
    from matchvision.footage.threads import decoding_threads

    return sum(1 for _ in decoded(folder, decoding_threads()))


def read_plainly(folder: Path) -> int:
    """Frames read as a plain script reads them: decoded and turned into BGR arrays by OpenCV, and dropped."""
    import cv2

    clip = cv2.VideoCapture(str(folder / "clip.mp4"))
    count = 0
    while clip.read()[0]:
        count += 1
    clip.release()
    return count


def threshold_script(folder: Path) -> int:
    """What a plain script does: whole frames to HSV, five colours thresholded, centroids of what is found."""
    count = 0
    for frame in decoded(folder, 0):
        hsv = cv2.cvtColor(frame.to_ndarray(format="bgr24"), cv2.COLOR_BGR2HSV)
        for hue in (0, 30, 60, 110, 160):
            mask = cv2.inRange(hsv, np.array((max(hue - 8, 0), 120, 60)), np.array((hue + 8, 255, 255)))
            cv2.connectedComponentsWithStats(mask)
        count += 1
    return count


def watch_run(folder: Path, report: dict[str, float]) -> int:
    """The watching pass of ``matchvision analyze``: first look, cameras and markers.

    From the tenth picture on it is the pass alone; its time is scaled to all pictures.
    """
    from matchvision.footage import read_facts
    from matchvision.sheets import load_run
    from matchvision.watching import watch

    begun: list[tuple[int, float, float]] = []

    def note(_: str, done: int, __: int) -> None:
        if not begun:
            begun.append((done, time.perf_counter(), time.process_time()))

    run = load_run(folder)
    frames = len(watch(run, read_facts(run.clip), note).tracks.frame)
    done, wall_s, processor_s = begun[0]
    share = frames / (frames - done)
    report["pass_wall_s"] = share * (time.perf_counter() - wall_s)
    report["pass_processor_s"] = share * (time.process_time() - processor_s)
    return frames


def share_costs(folder: Path, report: dict[str, float]) -> int:
    """Processor time a frame of each part; parts that call each other count without what they call."""
    from matchvision.footage import doubles, reading
    from matchvision.footage.reading import read_all
    from matchvision.markers import appearing, fitting, refining, tracking, whereabouts
    from matchvision.sheets import load_run
    from matchvision.watching import watch

    watch_run(SAMPLE, {})
    spent_s: dict[str, float] = defaultdict(float)
    open_parts: list[float] = []

    def clocked(name: str, function: Callable[..., Any]) -> Callable[..., Any]:
        def call(*given: Any, **named: Any) -> Any:  # noqa: ANN401
            open_parts.append(0.0)
            start_s = time.thread_time()
            try:
                return function(*given, **named)
            finally:
                taken_s = time.thread_time() - start_s
                spent_s[name] += taken_s - open_parts.pop()
                if open_parts:
                    open_parts[-1] += taken_s

        # Where a kernel is kept on disk is asked of it by this name.
        call.stats = getattr(function, "stats", None)  # type: ignore[attr-defined]
        return call

    run = load_run(folder)
    start_s = time.process_time()
    facts = reading.read_facts(run.clip)
    decode_s = -time.process_time()
    count = decode_alone(folder)
    decode_s += time.process_time()
    read_s = -time.process_time()
    for _ in read_all(facts):
        pass
    read_s += time.process_time()
    compare_s = -time.process_time()
    for _ in doubles.mark_doubles(read_all(facts)):
        pass
    compare_s += time.process_time()
    tracker = tracking.MarkerTracker
    for owner, part, name in (
        (appearing, "find_centres", "search and first fit"),
        (fitting, "fit_discs", "second fit, kernel"),
        (refining.Refiner, "refine", "second fit, rest"),
        (whereabouts.Whereabouts, "predict", "predict"),
        (tracker, "_refresh", "shapes"),
        (tracker, "_seek_lost", "look for lost markers and check names"),
        (tracker, "_check_names", "look for lost markers and check names"),
        (tracker, "see", "place, doubt and follow"),
    ):
        setattr(owner, part, clocked(name, getattr(owner, part)))
    start_s = time.process_time()
    watch(run, reading.read_facts(run.clip), None)
    whole_s = time.process_time() - start_s
    report |= {
        "decode": decode_s,
        "planes and times": read_s - decode_s,
        "doubled pictures": compare_s - read_s,
        **spent_s,
        "first look, queue and rest": whole_s - compare_s - sum(spent_s.values()),
        "all": whole_s,
    }
    for name in report:
        report[name] *= 1000 / count
    return count


def keep_an_hour(report: dict[str, float]) -> None:
    """Growth of this process's peak [MB] while an hour of 22 markers before a hand-held camera is kept, and joined."""
    from matchvision.markers.bridging import join_tracks
    from matchvision.markers.recording import Record
    from matchvision.records.growing import GrowingRows
    from matchvision.records.tracks import MarkerPlan

    generator = np.random.default_rng(1)
    places, covariance = generator.normal(500, 9, (22, 2)), generator.normal(0, 1, (15, 15))
    plans = tuple(MarkerPlan(f"bead_{k}", "bead", "red", 0.01) for k in range(22))
    record, covariances, before_MB = Record(22), GrowingRows((15, 15)), peak_memory()
    for k in range(HOUR_FRAMES):
        record.take(k, k / 60, places, places)
        covariances.append(covariance)
    report["places and cameras while they come"] = peak_memory() - before_MB
    tracks = join_tracks(plans, record.frame, record.clip_s, *record.places())
    report["tracks"] = peak_memory() - before_MB
    if len(tracks.frame) != HOUR_FRAMES or len(covariances.whole()) != HOUR_FRAMES:
        raise AssertionError


def main(name: str, folder: Path) -> None:
    """Time one candidate in this process; a first, uncounted call loads libraries and compiled kernels."""
    report: dict[str, float] = {}
    if name == "costs":
        share_costs(folder, report)
        print(json.dumps(report))
        return
    if name == "hour":
        keep_an_hour(report)
        print(json.dumps(report))
        return
    candidates: dict[str, Callable[[Path], int]] = {
        "decode": decode_alone,
        "decode_own": lambda there: sum(1 for _ in decoded(there, 0)),
        "read": read_plainly,
        "script": threshold_script,
        "watch": lambda there: watch_run(there, report),
        "watch_cold": lambda there: watch_run(there, report),
    }
    if name == "watch":
        watch_run(SAMPLE, report)
    if name == "decode":
        import matchvision.footage.threads  # noqa: F401 - loading is not what is timed
    start_s, start_processor_s = time.perf_counter(), time.process_time()
    frames = candidates[name](folder)
    report |= {
        "frames": frames,
        "wall_s": time.perf_counter() - start_s,
        "processor_s": time.process_time() - start_processor_s,
        "peak_memory_MB": peak_memory(),
    }
    print(json.dumps(report))


def peak_memory() -> float:
    """Most memory [MB] that this process has held; `getrusage` would count its parent's when it was started."""
    status = Path("/proc/self/status")
    if not status.exists():
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    line = next(line for line in status.read_text().splitlines() if line.startswith("VmHWM"))
    return float(line.split()[1]) / 1024


if __name__ == "__main__":
    main(sys.argv[1], Path(sys.argv[2]))
