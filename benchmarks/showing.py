"""How long a person waits: for the first answer over decoding the clip, then for report, causes, figures and clip.

The clip is that of the study of throughput: one minute of 1080p at 60 pictures a second. Everything runs in one fresh
process as `matchvision analyze` does it; loading the program counts. Decoding alone is timed just before and after: by
our number of threads, which is the fastest that we know; by as many as libav takes unasked, which is what decoding a
clip takes anybody; and as a plain script reads a clip, with OpenCV, which also turns each frame into BGR. Each has the
limit beside it.
The first run of an installation also compiles the kernels and keeps them on disk. So there are two processes, the first
with nothing kept, the second with what the first one left; both are told.
The first answer is told: verdict, share and motion, in the terminal. The report with its tables follows.
"""

import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

from benchmarks.throughput import encode_segment, lay_out_run, run_candidate, seconds

if TYPE_CHECKING:
    import pandas as pd

    from matchvision.records.results import FirstAnswer

#: Segments in a row: 61 s.
LENGTH = 8
#: Limits that we set ourselves.
FIRST_LIMIT, MARKING_LIMIT, REPORT_LIMIT_MB = 1.3, 2.0, 6.0


def measure() -> "pd.DataFrame":
    """One row a figure, its limit beside it."""
    import pandas as pd

    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch) / "run"
        lay_out_run(folder, encode_segment(), LENGTH)
        kept = Path(scratch) / "kernels"
        fresh, _ = _analyse(folder, Path(scratch) / "fresh", kept, until="report")
        before = run_candidate("decode", folder)
        said, whole_s = _analyse(folder, Path(scratch) / "out", kept, until="end")
        after = run_candidate("decode", folder)
        peers = {
            "decoding alone by libav's own choice of threads": run_candidate("decode_own", folder),
            "reading with OpenCV": run_candidate("read", folder),
        }
    decode_s, decode_processor_s = ((before[k] + after[k]) / 2 for k in ("wall_s", "processor_s"))
    first_s = said["reached"]["first answer"][0]
    rows: list[tuple[str, float, float | None]] = [
        ("decoding alone [s]", decode_s, None),
        *((f"{name} [s]", taken["wall_s"], None) for name, taken in peers.items()),
        *((f"first answer / {name}", first_s / taken["wall_s"], FIRST_LIMIT) for name, taken in peers.items()),
        *((f"first run of an installation: {name} [s]", value, None) for name, value in fresh["taken_s"].items()),
        *(
            (f"first run of an installation: {name} / decoding alone", reached[0] / decode_s, None)
            for name, reached in fresh["reached"].items()
        ),
        *((f"{name} [s]", value, None) for name, value in said["taken_s"].items()),
        *(
            row
            for name, limit in (("first answer", FIRST_LIMIT), ("first answer with tables and report", None))
            for row in (
                (f"{name} / decoding alone", said["reached"][name][0] / decode_s, limit),
                (f"{name} / decoding alone, processor", said["reached"][name][1] / decode_processor_s, limit),
            )
        ),
        ("marking / length of the clip", said["taken_s"]["marked clip"] / seconds(LENGTH), MARKING_LIMIT),
        ("report [MB]", said["report_MB"], REPORT_LIMIT_MB),
        ("all, with starting the program [s]", whole_s, None),
    ]
    judged = [(*row, "" if row[2] is None else "yes" if row[1] <= row[2] else "no") for row in rows]
    return pd.DataFrame(judged, columns=["figure", "value", "limit", "met"])


def _analyse(folder: Path, out: Path, kept: Path, *, until: str) -> tuple[dict[str, Any], float]:
    """What a fresh process says of its steps, and how long it took [s]; kernels are kept in ``kept``."""
    started = time.perf_counter()
    process = subprocess.run(
        [sys.executable, "-m", "benchmarks.showing", str(folder), str(out), until],
        stdout=subprocess.PIPE, text=True, check=True, cwd=Path(__file__).parent.parent,
        env=os.environ | {"NUMBA_CACHE_DIR": str(kept)},
    )  # fmt: skip
    taken_s = time.perf_counter() - started
    said: dict[str, Any] = json.loads(process.stdout.splitlines()[-1])
    return said, taken_s


def wait(folder: Path, out: Path, until: str) -> dict[str, Any]:
    """Analyse a run as the command line does, with the time at which each step was done; ``until`` report or end."""
    taken_s: dict[str, float] = {}
    last_s = started_s = time.perf_counter()

    def done(what: str) -> None:
        nonlocal last_s
        now_s = time.perf_counter()
        taken_s[what] = taken_s.get(what, 0.0) + now_s - last_s
        last_s = now_s

    reached: dict[str, tuple[float, float]] = {}

    def reach(what: str) -> None:
        reached[what] = (time.perf_counter() - started_s, time.process_time())

    def tell(first: "FirstAnswer") -> None:
        print(tell_first(first), flush=True)
        done("first answer")
        reach("first answer")

    from matchvision.sheets import load_run

    run = load_run(folder)

    from matchvision import pipeline
    from matchvision.cli.telling import tell_first
    from matchvision.writing import check_target

    check_target(run, out)
    done("loading the program")
    analysis = pipeline.answer_first(
        run, finished=lambda note: done("watching" if note.stage in ("table", "markers") else note.stage), told=tell
    )

    from matchvision.footage import read_frames
    from matchvision.footage.ahead import read_ahead
    from matchvision.report import draw_figures, mark_clip
    from matchvision.writing.adding import add_causes
    from matchvision.writing.publishing import publish_first

    done("loading what writes")
    publish_first(analysis, out)
    done("tables and report")
    reach("first answer with tables and report")
    if until == "report":
        return {"taken_s": taken_s, "reached": reached}
    found, note = pipeline.find_causes(run, analysis.grounds)
    add_causes(out, found, note)
    done("causes")
    draw_figures(analysis, out / "figures")
    done("figures")
    mark_clip(analysis, read_ahead(read_frames(analysis.clip)), out / "marked.mp4")
    done("marked clip")
    report_MB = (out / "report.html").stat().st_size / 1e6
    return {"taken_s": taken_s, "reached": reached, "report_MB": report_MB}


if __name__ == "__main__":
    print(json.dumps(wait(Path(sys.argv[1]), Path(sys.argv[2]), sys.argv[3])))
