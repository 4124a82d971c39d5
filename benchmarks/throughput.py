"""Frames a second of the watching pass, beside decoding alone and a plain whole-frame colour-threshold script.

The clip: the 1080p sample run, played forwards and backwards to 30 s at 60 pictures/s and 20 Mb/s, so that motion never
jumps. Each candidate runs in a process of its own, in turn, so that ratios hold where the machine's speed drifts.
"""

import json
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np
import pandas as pd

SAMPLE = Path(__file__).parent.parent / "sample_clips" / "hitch-slips"
TURNS = 3
BIT_RATE = 20_000_000
WATCHING = "matchvision, first look and one pass"
SCRIPT = "whole-frame threshold script"


def measure() -> pd.DataFrame:
    """One row a candidate: frames/s, ratio to decoding alone, peak memory at two clip lengths."""
    rows = []
    with tempfile.TemporaryDirectory() as scratch:
        short, long = Path(scratch) / "short", Path(scratch) / "long"
        build_run(short, passes=8)
        build_run(long, passes=16)
        times: dict[str, list[dict[str, float]]] = {name: [] for name in CANDIDATES}
        for turn in range(TURNS):
            for name in CANDIDATES:
                if turn == 0 or name != SCRIPT:  # the script takes so long that one turn must do
                    times[name].append(run_candidate(name, short))
        decode = [t["frames_per_s"] for t in times["decoding alone"]]
        long_memory_MB = run_candidate(WATCHING, long)["peak_memory_MB"]
        for name, taken in times.items():
            ratios = [t["frames_per_s"] / d for t, d in zip(taken, decode, strict=False)]
            rows.append(
                {
                    "candidate": name,
                    "frames_per_s": float(np.median([t["frames_per_s"] for t in taken])),
                    "ratio_to_decoding": float(np.median(ratios)),
                    "peak_memory_MB": float(np.median([t["peak_memory_MB"] for t in taken])),
                    "peak_memory_MB_2x_length": long_memory_MB if name == WATCHING else float("nan"),
                }
            )
    return pd.DataFrame(rows)


def build_run(folder: Path, passes: int) -> None:
    """A run folder whose clip plays the sample forwards and backwards in turn, ``passes`` times in all."""
    folder.mkdir()
    shutil.copy(SAMPLE / "run.toml", folder / "run.toml")
    with av.open(str(SAMPLE / "clip.mp4")) as source:
        pictures = [frame.to_ndarray(format="yuv420p") for frame in source.decode(video=0)]
    with av.open(str(folder / "clip.mp4"), "w") as out:
        stream = out.add_stream("libx264", rate=60)
        stream.height, stream.width = pictures[0].shape[0] * 2 // 3, pictures[0].shape[1]
        stream.pix_fmt = "yuv420p"
        stream.bit_rate = BIT_RATE
        stream.options = {"preset": "veryfast"}
        stream.time_base = Fraction(1, 90_000)
        for index in range(passes * len(pictures)):
            turn, place = divmod(index, len(pictures))
            picture = pictures[place if turn % 2 == 0 else -1 - place]
            frame = av.VideoFrame.from_ndarray(picture, format="yuv420p")
            frame.colorspace, frame.color_range = 1, 1
            frame.pts, frame.time_base = index * 1500, Fraction(1, 90_000)
            out.mux(stream.encode(frame))
        out.mux(stream.encode(None))


def run_candidate(name: str, folder: Path) -> dict[str, float]:
    """Run one candidate in its own process and read what it reports."""
    done = subprocess.run(
        [sys.executable, "-m", "benchmarks.throughput", name, str(folder)],
        capture_output=True,
        text=True,
        check=True,
        cwd=Path(__file__).parent.parent,
    )
    report: dict[str, float] = json.loads(done.stdout.splitlines()[-1])
    return report


def decoded(folder: Path) -> Iterator[av.VideoFrame]:
    """Decoded pictures, untouched."""
    with av.open(str(folder / "clip.mp4")) as clip:
        clip.streams.video[0].thread_type = "AUTO"
        yield from clip.decode(video=0)


def decode_alone(folder: Path) -> int:
    """Frames decoded and dropped."""
    return sum(1 for _ in decoded(folder))


def threshold_script(folder: Path) -> int:
    """What a plain script does: whole frames to HSV, five colours thresholded, centroids of what is found."""
    count = 0
    for frame in decoded(folder):
        hsv = cv2.cvtColor(frame.to_ndarray(format="bgr24"), cv2.COLOR_BGR2HSV)
        for hue in (0, 30, 60, 110, 160):
            mask = cv2.inRange(hsv, np.array((max(hue - 8, 0), 120, 60)), np.array((hue + 8, 255, 255)))
            cv2.connectedComponentsWithStats(mask)
        count += 1
    return count


def watch_run(folder: Path) -> int:
    """The watching pass of ``matchvision analyze``: first look, cameras and markers."""
    from matchvision.footage import read_facts
    from matchvision.pipeline import watch
    from matchvision.sheets import load_run

    run = load_run(folder)
    return len(watch(run, read_facts(run.clip), None).tracks.frame)


CANDIDATES = {
    "decoding alone": decode_alone,
    WATCHING: watch_run,
    SCRIPT: threshold_script,
}


def main(name: str, folder: Path) -> None:
    """Time one candidate in this process; the first, uncounted call loads libraries and compiled kernels."""
    if name == WATCHING:
        watch_run(SAMPLE)
    start_s = time.perf_counter()
    frames = CANDIDATES[name](folder)
    taken_s = time.perf_counter() - start_s
    print(json.dumps({"frames_per_s": frames / taken_s, "peak_memory_MB": peak_memory()}))


def peak_memory() -> float:
    """Most memory [MB] that this process has held; `getrusage` would count its parent's when it was started."""
    status = Path("/proc/self/status")
    if not status.exists():
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    line = next(line for line in status.read_text().splitlines() if line.startswith("VmHWM"))
    return float(line.split()[1]) / 1024


if __name__ == "__main__":
    main(sys.argv[1], Path(sys.argv[2]))
