"""Where the machines stand when the clock starts, before any clip shows it."""

from collections.abc import Mapping
from math import sqrt

from matchvision.records.sheet import Run, StartPose


def assume_starts(run: Run) -> tuple[Mapping[str, StartPose], tuple[str, ...]]:
    """Starts from the sheet; for the rest: on the middle line, facing home, the rope taut and halved.

    Parameters
    ----------
    run : Run

    Returns
    -------
    starts : StartPose by machine
        A machine whose hitch is not in the sheet gets none.
    assumed : sentences
        What was not in the sheet.

    Notes
    -----
    With hitches at heights h1 and h2 the taut rope of length L spans sqrt(L² - (h1 - h2)²) between them.
    Checked by: tests/forecast/test_starts.py::test_rope_is_taut_and_halved
    """
    starts = {name: machine.start for name, machine in run.sheet.machine.items() if machine.start is not None}
    rope = run.sheet.rope
    if rope is None:
        return starts, ()
    assumed = []
    hitches = [hitch.at_m for name in rope.ends if (hitch := run.sheet.machine[name].hitch) is not None]
    drop_m = hitches[0][2] - hitches[1][2] if len(hitches) == 2 else 0.0
    half_m = sqrt(max(0.0, rope.length_m**2 - drop_m**2)) / 2
    for name in rope.ends:
        machine = run.sheet.machine[name]
        if name in starts or machine.hitch is None:
            continue
        home = 1.0 if machine.home == "+x" else -1.0
        x_m = home * (half_m - machine.hitch.at_m[0])
        y_m = -home * machine.hitch.at_m[1]
        starts[name] = StartPose(at_m=(x_m, y_m), heading_deg=0.0 if home > 0 else 180.0)
        assumed.append(
            f"{name} starts at x = {x_m:.3f} m with the rope taut, as [machine.{name}] start is not in the sheet"
        )
    return starts, tuple(assumed)
