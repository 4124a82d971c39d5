"""How long a footage check takes beside decoding the clip once: a minute of 1080p at 60 pictures a second.

The clip: the 1080p sample run, played forwards and backwards, encoded at 20 Mb/s as by a phone, with its own run sheet.
Both candidates run in processes of their own, in turn. Processor time is counted too: where other work disturbs, its
ratio still holds.
"""

import json
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd

from benchmarks.throughput import build_run, decode_alone

#: Passes over the 227 pictures of the sample that make a minute at 60 pictures a second.
PASSES = 16
TURNS = 3


def measure(passes: int = PASSES) -> pd.DataFrame:
    """One row: seconds for decoding and for the check, and their ratios (median over the turns)."""
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch) / "minute"
        build_run(folder, passes)
        turns = np.array([[_time("decode", folder), _time("check", folder)] for _ in range(TURNS)])
    (decode_s, decode_processor_s), (check_s, check_processor_s) = turns.transpose(1, 2, 0)
    return pd.DataFrame(
        [
            {
                "pictures": 227 * passes,
                "decode_s": float(np.median(decode_s)),
                "check_s": float(np.median(check_s)),
                "check_over_decoding": float(np.median(check_s / decode_s)),
                "worst_ratio": float(np.max(check_s / decode_s)),
                "processor_ratio": float(np.median(check_processor_s / decode_processor_s)),
                "worst_processor_ratio": float(np.max(check_processor_s / decode_processor_s)),
            }
        ]
    )


def check(folder: Path) -> int:
    """The whole check with its run sheet and picture; the number of pictures looked at."""
    from matchvision.footagecheck import check_footage
    from matchvision.report.footagepicture import draw_footage
    from matchvision.sheets import load_run

    run = load_run(folder)
    found = check_footage(run.clip, run)
    draw_footage(found, folder / "footage.png")
    return found.look.pictures


def _time(what: str, folder: Path) -> tuple[float, float]:
    """Wall and processor time [s]."""
    done = subprocess.run(
        [sys.executable, "-m", "benchmarks.footage_check", what, str(folder)],
        capture_output=True,
        text=True,
        check=True,
        cwd=Path(__file__).parent.parent,
    )
    told = json.loads(done.stdout.splitlines()[-1])
    return float(told["seconds"]), float(told["processor_s"])


if __name__ == "__main__":
    start_s, start_processor_s = time.perf_counter(), time.process_time()
    {"decode": decode_alone, "check": check}[sys.argv[1]](Path(sys.argv[2]))
    took_s, processor_s = time.perf_counter() - start_s, time.process_time() - start_processor_s
    print(json.dumps({"seconds": took_s, "processor_s": processor_s}))
