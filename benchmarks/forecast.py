"""What a match forecast costs, by samples and by duration, and how closely its match goes as in a physics engine.

Cost: ``predict_run`` on an invented match of two four-wheel machines that slip, with ten uncertain numbers. Processor
time is that of all threads together; ``on_two_cores_s`` is half of it. Wall time means something only where nothing
else runs. Nothing is timed before everything is compiled and loaded.

Agreement: the cases of ``tests/published/mujoco_cases.py``, beside the limits of 2 % of the way, 3 % of the peak and
50 ms; and the case that depends on how load is shared across the diagonal, once more with softer and harder tyres and
on rigid wheels, where the engine's own contact shares it.
"""

import time
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd

from benchmarks.results import write_rows
from matchvision.forecast import assume_starts, predict_run
from matchvision.records.sheet import Run, RunSheet
from tests.engine.extras import Contact
from tests.published import mujoco_cases

SAMPLES: Final = (250, 500, 1000, 2000)
DURATIONS_S: Final = (5.0, 10.0, 20.0, 40.0)
LIMIT_S, LIMIT_SAMPLES = 20.0, 1000


def measure() -> pd.DataFrame:
    """One row a forecast; prints the growth and the agreement, which is kept in ``forecast_agreement.csv``."""
    rows = [{"by": "samples", **cost(samples, 10.0)} for samples in SAMPLES]
    rows += [{"by": "duration", **cost(250, duration_s)} for duration_s in DURATIONS_S]
    table = pd.DataFrame(rows)
    for by, column in (("samples", "samples"), ("duration", "duration_s")):
        own = table[table["by"] == by]
        slope = float(np.polyfit(np.log(own[column]), np.log(own["processor_s"]), 1)[0])
        print(f"processor time grows with {by} to the power of {slope:.2f}")
    thousand = table[table["samples"] == LIMIT_SAMPLES].iloc[0]
    took = f"{thousand['wall_s']:.1f} s by the wall clock, {thousand['processor_s']:.1f} s of processor time"
    print(f"{LIMIT_SAMPLES} samples: {took}; limit {LIMIT_S:.0f} s")
    agreement = agree()
    print(agreement.to_string(index=False))
    write_rows("forecast_agreement", agreement, Path(__file__).parent / "results")
    return table


def cost(samples: int, duration_s: float) -> dict[str, Any]:
    """Processor and wall time [s] of one forecast."""
    run = invented_run(duration_s)
    starts, _ = assume_starts(run)
    predict_run(run, starts, samples=16)
    begin_s, used_s = time.perf_counter(), time.process_time()
    predict_run(run, starts, samples=samples)
    wall_s, processor_s = time.perf_counter() - begin_s, time.process_time() - used_s
    return {
        "samples": samples, "duration_s": duration_s, "processor_s": processor_s, "on_two_cores_s": processor_s / 2,
        "wall_s": wall_s, "limit_s": LIMIT_S if samples == LIMIT_SAMPLES else np.nan,
    }  # fmt: skip


def agree() -> pd.DataFrame:
    """One row a case; ``holds`` says whether all limits are kept."""
    found = [mujoco_cases.compare(make()) for make in mujoco_cases.CASES]
    named = [(one.case, one) for one in found]
    others = {
        "softer tyres": replace(mujoco_cases.CONTACT, tyre_N_per_m=10_000.0, tyre_N_s_per_m=50.0),
        "harder tyres": replace(mujoco_cases.CONTACT, tyre_N_per_m=40_000.0, tyre_N_s_per_m=100.0),
        "rigid wheels": Contact(),
    }
    for word, contact in others.items():
        one = mujoco_cases.compare(mujoco_cases.side_gone(), contact)
        named.append((f"{one.case} ({word})", one))
    rows = []
    for name, one in named:
        slips = np.nan_to_num(one.slip_ms)
        holds = one.place_ratio <= 0.02 and one.tension_ratio <= 0.03 and slips <= 50 and len(set(one.phases)) == 1
        rows.append({
            "case": name, "way_mm": one.travel_mm, "place_off_mm": one.place_mm, "place_ratio": one.place_ratio,
            "tension_rms_ratio": one.tension_ratio, "mean_pull_ratio": one.pull_ratio, "slip_phases": one.phases[0],
            "engine_slip_phases": one.phases[1], "slip_off_ms": one.slip_ms, "turned_deg": one.turned_deg[0],
            "engine_turned_deg": one.turned_deg[1], "holds": holds,
        })  # fmt: skip
    return pd.DataFrame(rows)


def invented_run(duration_s: float) -> Run:
    """Heron and plover, of which heron slips once plover gives all it has."""

    def machine(home: str, mass_kg: float) -> dict[str, Any]:
        wheel = {"name": "front", "radius_m": 0.045, "face_m": [0.085, 0.118, 0.045]}
        return {
            "home": home, "mass_kg": mass_kg, "u_mass_kg": 0.01, "hitch": {"at_m": [-0.145, 0.0, 0.052]},
            "size_m": [0.28, 0.234, 0.12], "wheelbase_m": 0.17, "wheel": [wheel],
        }  # fmt: skip

    def drive(stall_Nm: float, grip: float, late: float) -> dict[str, Any]:
        return {
            "motors": 2, "stall_torque_Nm": {"value": stall_Nm, "u": 0.03 * stall_Nm},
            "no_load_rev_min": {"value": 12000, "u": 300}, "gear_ratio": 236,
            "drive_efficiency": {"value": 0.72, "u": 0.03}, "drive_friction_Nm": 0.09,
            "grip_static": {"value": grip, "u": 0.04}, "wheel_inertia_kg_m2": 2.5e-4,
            "throttle": [[0.0, 0.0], [0.3, 0.5], [late, 0.5], [late + 1.0, 1.0]],
        }  # fmt: skip

    sheet = RunSheet.model_validate({
        "run": {"name": "practice", "kind": "match", "clip": "clip.mp4"},
        "clock": {"start_s": 1.0, "duration_s": duration_s},
        "table": {"length_m": 4.0, "width_m": 1.1},
        "rope": {"length_m": 1.09, "ends": ["heron", "plover"]},
        "machine": {"heron": machine("-x", 2.5), "plover": machine("+x", 3.1)},
        "forecast": {"heron": drive(0.0036, 0.72, 1.0), "plover": drive(0.0042, 0.8, 2.0)},
    })  # fmt: skip
    return Run(sheet=sheet, folder=Path())
