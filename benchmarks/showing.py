"""How long a person waits: for the first answer over decoding the clip, then for causes, figures and marked clip.

The clip is that of the study of throughput: one minute of 1080p at 60 pictures a second. Everything runs in one fresh
process as `matchvision analyze` does it; loading the program counts. Decoding alone is timed just before and after.
"""

import json
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

from benchmarks.throughput import encode_segment, lay_out_run, run_candidate, seconds

if TYPE_CHECKING:
    import pandas as pd

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
        before = run_candidate("decode", folder)
        started = time.perf_counter()
        process = subprocess.run(
            [sys.executable, "-m", "benchmarks.showing", str(folder), f"{scratch}/out"],
            stdout=subprocess.PIPE, text=True, check=True, cwd=Path(__file__).parent.parent,
        )  # fmt: skip
        whole_s = time.perf_counter() - started
        after = run_candidate("decode", folder)
    said: dict[str, Any] = json.loads(process.stdout.splitlines()[-1])
    decode_s = (before["wall_s"] + after["wall_s"]) / 2
    rows: list[tuple[str, float, float | None]] = [
        ("decoding alone [s]", decode_s, None),
        *((f"{name} [s]", value, None) for name, value in said["taken_s"].items()),
        ("first answer / decoding alone", said["first_s"] / decode_s, FIRST_LIMIT),
        ("first answer / decoding alone, processor", said["first_processor_s"] / before["processor_s"], FIRST_LIMIT),
        ("marking / length of the clip", said["taken_s"]["marked clip"] / seconds(LENGTH), MARKING_LIMIT),
        ("report [MB]", said["report_MB"], REPORT_LIMIT_MB),
        ("all, with starting the program [s]", whole_s, None),
    ]
    judged = [(*row, "" if row[2] is None else "yes" if row[1] <= row[2] else "no") for row in rows]
    return pd.DataFrame(judged, columns=["figure", "value", "limit", "met"])


def wait(folder: Path, out: Path) -> dict[str, Any]:
    """Analyse a run as the command line does, with the time at which each step was done."""
    taken_s: dict[str, float] = {}
    last_s = started_s = time.perf_counter()

    def done(what: str) -> None:
        nonlocal last_s
        now_s = time.perf_counter()
        taken_s[what] = taken_s.get(what, 0.0) + now_s - last_s
        last_s = now_s

    from matchvision import pipeline
    from matchvision.footage import read_frames
    from matchvision.footage.ahead import read_ahead
    from matchvision.report import draw_figures, mark_clip
    from matchvision.sheets import load_run
    from matchvision.writing.adding import add_causes
    from matchvision.writing.publishing import publish_first

    run = load_run(folder)
    done("loading the program")
    analysis = pipeline.answer_first(
        run, finished=lambda note: done("watching" if note.stage in ("table", "markers") else note.stage)
    )
    publish_first(analysis, out)
    done("tables and report")
    first_s, first_processor_s = time.perf_counter() - started_s, time.process_time()
    found, note = pipeline.find_causes(run, analysis.grounds)
    add_causes(out, found, note)
    done("causes")
    draw_figures(analysis, out / "figures")
    done("figures")
    mark_clip(analysis, read_ahead(read_frames(analysis.clip)), out / "marked.mp4")
    done("marked clip")
    report_MB = (out / "report.html").stat().st_size / 1e6
    return {"taken_s": taken_s, "first_s": first_s, "first_processor_s": first_processor_s, "report_MB": report_MB}


if __name__ == "__main__":
    print(json.dumps(wait(Path(sys.argv[1]), Path(sys.argv[2]))))
