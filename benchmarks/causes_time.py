"""What the search for causes takes, by the run's duration: of one that went as predicted, and one that nothing fits.

Runs of a physics engine seen through noisy markers. The longer ones are the same match played slower, so that machines
stay on the table. One that nothing fits swings to and fro by 70 % of each quantity, as no machine of the sheet can:
then pairs of causes are tried as well, which takes longest. ``wall_s`` means something only where nothing else runs,
and is to stay below 30 s for half a minute on two cores.
"""

import time
from dataclasses import replace
from typing import Any, Final

import numpy as np
import pandas as pd

from matchvision.filming.scene import Machine, Stated
from matchvision.verdict.causes.weighing import weigh
from tests.verdict.causes.changed_runs import Changed, changed_run, measured_points
from tests.verdict.causes.test_weighing import prepared

DURATIONS_S: Final = (5.5, 15.0, 30.0)
SEED, USUAL_S = 1, 5.5
LIMIT_S: Final = 30.0
SWING, SWING_RAD_S = 0.7, 5.0


def measure() -> pd.DataFrame:
    """One row a run; prints how the time grows with the duration."""
    weigh_one(USUAL_S, swung=False)
    table = pd.DataFrame([weigh_one(duration_s, swung=swung) for swung in (False, True) for duration_s in DURATIONS_S])
    for fits, own in table.groupby("fits"):
        slope = float(np.polyfit(np.log(own["duration_s"]), np.log(own["processor_s"]), 1)[0])
        print(
            f"{'as predicted' if fits else 'nothing fits'}: processor time grows with duration to the power {slope:.2f}"
        )
    return table


def weigh_one(duration_s: float, *, swung: bool) -> dict[str, Any]:
    """Time and answer of one run."""
    changed = slowed(changed_run("as-predicted", SEED), duration_s / USUAL_S)
    forecasted, observed, explanations = prepared(measured_points(changed, SEED))
    if swung:
        wave = SWING * np.sin(SWING_RAD_S * observed.t_s)
        series = tuple(
            one if one.what == "heading" else replace(one, values=one.values + one.scale * wave)  # noqa: PD011 - not theirs
            for one in observed.series
        )
        observed = replace(observed, series=series)
    begun_s, used_s = time.perf_counter(), time.process_time()
    found = weigh(forecasted, observed, explanations, None)
    return {
        "duration_s": duration_s, "fits": not swung, "first": found[0].cause,
        "processor_s": time.process_time() - used_s, "wall_s": time.perf_counter() - begun_s,
        "limit_s": LIMIT_S if duration_s == max(DURATIONS_S) else np.nan,
    }  # fmt: skip


def slowed(changed: Changed, times: float) -> Changed:
    """The same match with its plan and its wheels so many times slower."""
    scene = changed.scene
    machines = {name: _slow(machine, times) for name, machine in scene.machine.items()}
    clock = replace(scene.clock, duration_s=scene.clock.duration_s * times)
    return replace(changed, scene=replace(scene, machine=machines, clock=clock))


def _slow(machine: Machine, times: float) -> Machine:
    drive, told = machine.drive, machine.forecast
    if drive is None or told is None or not isinstance(told.no_load_rev_min, Stated):
        return machine
    plan = tuple((time_s * times, share) for time_s, share in drive.throttle)
    free = Stated(value=told.no_load_rev_min.value / times, u=told.no_load_rev_min.u / times)
    return replace(
        machine, drive=replace(drive, no_load_rev_min=drive.no_load_rev_min / times, throttle=plan),
        forecast=replace(told, no_load_rev_min=free, throttle=plan),
    )  # fmt: skip
