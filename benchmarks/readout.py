"""How well a rolling shutter's readout is read from the bands of lamps, over invented clips with known readout.

Clips of a still scene, H.264 at crf 14 to 27, at 24 to 120 pictures a second under lamps at 100 or 120 Hz (those of the
two whose bands wander at that rate), ripple 2 to 20 %; in half of them something moves, in a third a second lamp on the
next phase of the mains lights one side.
"""

import tempfile
from itertools import islice
from pathlib import Path

import numpy as np
import pandas as pd

from matchvision.footage import BandWatch, read_facts, read_frames
from matchvision.records.footage import RowTiming
from tests.footage.bands import write_bands

#: Picture rates and the lamps whose bands wander there.
RATES = ((24, 100), (25, 120), (30000 / 1001, 100), (30, 100), (50, 120), (60000 / 1001, 100), (60, 100), (120, 100))
CLIPS = 120
PICTURES = 40


def measure(clips: int = CLIPS) -> pd.DataFrame:
    """One row for one lamp, and one for two: share of clips that tell, errors, and honesty of the stated u."""
    rng = np.random.default_rng(5)
    found: dict[str, list[tuple[float, float]]] = {"one lamp": [], "two lamps": []}
    silent = dict.fromkeys(found, 0)
    with tempfile.TemporaryDirectory() as scratch:
        for seed in range(clips):
            frames_per_s, lamp_Hz = RATES[int(rng.integers(len(RATES)))]
            readout_s = float(rng.uniform(0.1, 1.0) * min(1 / frames_per_s, 0.03))
            second = float(rng.choice([0.0, 0.0, 0.3]))
            clip = write_bands(
                Path(scratch) / "clip.mp4",
                readout_s,
                seed=seed,
                frames_per_s=frames_per_s,
                lamp_Hz=lamp_Hz * (1 + rng.normal(0, 0.0005)),
                ripple=float(10 ** rng.uniform(-1.7, -0.7)),
                crf=int(rng.integers(14, 28)),
                second_lamp=second,
                moving=bool(rng.random() < 0.5),
                pictures=PICTURES,
            )
            rows = read_timing(clip)
            kind = "two lamps" if second else "one lamp"
            if rows.known:
                found[kind].append((rows.readout_s - readout_s, rows.u_s))
            else:
                silent[kind] += 1
    table = []
    for kind, pairs in found.items():
        error_s, u_s = np.array(pairs).T
        table.append(
            {
                "clips": kind,
                "told_percent": 100 * len(pairs) / (len(pairs) + silent[kind]),
                "rms_error_ms": 1000 * float(np.sqrt(np.mean(error_s**2))),
                "median_u_ms": 1000 * float(np.median(u_s)),
                "within_1_96_u_percent": 100 * float(np.mean(np.abs(error_s) < 1.96 * u_s)),
                "rms_error_over_rms_u": float(np.sqrt(np.mean(error_s**2) / np.mean(u_s**2))),
            }
        )
    return pd.DataFrame(table)


def read_timing(clip: Path) -> RowTiming:
    """The readout as the pipeline would find it in the clip's first pictures."""
    facts = read_facts(clip)
    watch = BandWatch(facts)
    for frame in islice(read_frames(facts), PICTURES):
        watch.see(frame)
    return watch.timing()
