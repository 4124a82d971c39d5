"""Tension from a machine's own momentum while its driven wheels slide: their grip is known then, not the drive's."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.errors import CannotMeasure
from matchvision.mechanics.grip import Driven, driven_load_N
from matchvision.pull.along import Along
from matchvision.pull.assembling import Numbers, assemble_source
from matchvision.pull.drive import LEAST_BACK, mean_over_wheels
from matchvision.pull.link import LOCAL_GRAVITY
from matchvision.pull.traction import driven_axle
from matchvision.records.motion import Motion
from matchvision.records.pull import PullSource
from matchvision.records.sheet import Machine, Quantity, Run
from matchvision.uncertainty import Input

#: Wheels slide beyond this slip speed, as in the list of events; a gripping tread creeps below it.
SLIDING_M_S: Final = 0.030


@dataclass(frozen=True, eq=False)
class Slider:
    """A machine whose sliding grip is stated: ``end`` is the rope end (0 or 1) hitched to it."""

    name: str
    end: int
    machine: Machine
    mass_kg: float
    axle: Driven
    grip: Quantity
    rolling_resistance: Quantity
    independent: bool


def known_sliders(run: Run) -> tuple[Slider, ...]:
    """Machines on the rope with driven wheels, a mass and a sliding grip, measured or else as forecast."""
    rope = run.sheet.rope
    sliders = []
    for end, name in enumerate(rope.ends if rope is not None else ()):
        machine = run.sheet.machine.get(name)
        if machine is None or machine.mass_kg is None or machine.load is not None:
            continue
        measured = machine.drive
        planned = run.sheet.forecast.get(name)
        independent = measured is not None and measured.grip_sliding is not None
        facts = measured if independent else planned
        if facts is None or facts.grip_sliding is None:
            continue
        try:
            axle = driven_axle(machine)
        except CannotMeasure:
            continue
        if axle != "all" and None in (machine.wheelbase_m, machine.middle_of_mass_m, machine.hitch):
            continue
        resistance = facts.rolling_resistance or Quantity(value=0.0)
        sliders.append(Slider(name, end, machine, machine.mass_kg, axle, facts.grip_sliding, resistance, independent))
    return tuple(sliders)


def measure_momentum(slider: Slider, motion: Motion, along: Along) -> PullSource | None:
    """Tension from a machine's acceleration and the friction of its sliding wheels; None without a wheel that slides.

    While the wheels grip, the ground's force is whatever the drive makes it, so that the momentum alone says nothing
    about the tension: that is the drive's source. The grip is taken to be the stated one everywhere.

    Notes
    -----
    ``T b = s μ N − c N₀ sign v − m g sin θ − m a``, s the sign of the slip, N the load on the driven wheels and N₀ that
    on all of them; both are lines in T (weight transfer, a rope that lifts), so that T follows in one step.
    Checked by: tests/pull/test_momentum.py::test_spinning_wheels_pull_with_their_grip
    """
    wheels = [w for w in motion.wheels if w.machine == slider.name and w.driven]
    rope = motion.rope
    if not wheels or rope is None:
        return None
    slip, u_slip = mean_over_wheels([w.slip_speed_m_s for w in wheels], [w.u_slip_speed_m_s for w in wheels])
    sliding = np.abs(slip) > SLIDING_M_S + 3 * u_slip
    if not sliding.any():
        return None
    machine, name = slider.machine, slider.name
    centre = machine.middle_of_mass_m or (0.0, 0.0, 0.0)
    hitch = machine.hitch.at_m if machine.hitch is not None else (0.0, 0.0, 0.0)
    mass, grip, accel = f"mass of {name}", f"sliding grip of {name}", f"acceleration of {name}"
    resistance = f"rolling resistance of {name}"
    inputs = [
        Input(accel, along.accel_m_s2, along.u_accel_m_s2, "m/s²", common=False),
        Input(grip, slider.grip.value, slider.grip.u, "1"),
        Input(resistance, slider.rolling_resistance.value, slider.rolling_resistance.u, "1"),
        Input(mass, slider.mass_kg, machine.u_mass_kg, "kg"),
        LOCAL_GRAVITY,
    ]

    def tension(at: Mapping[str, Numbers]) -> FloatArray:
        taken = at[accel] + at["local gravity"] * at["steep"]
        weight_N = at[mass] * at["local gravity"] * at["level"]

        def driven_load(pull_N: float) -> FloatArray:
            return driven_load_N(
                weight_N,
                1.0,
                machine.wheelbase_m or 1.0,
                (centre[0], centre[2]),
                (hitch[0], hitch[2]),
                pull_N * at["back"],
                pull_N * at["up"],
                # The moment of what holds the body back along the surface is taken over its weight.
                at[mass] * taken / weight_N,
                driven=slider.axle,
            )

        unloaded_N = driven_load(0.0)
        a_newton_N = driven_load(1.0) - unloaded_N
        rolled = at[resistance] * at["rolling"]
        pushed_N = at["way"] * at[grip] * unloaded_N - rolled * weight_N - at[mass] * taken
        lever = at["back"] - at["way"] * at[grip] * a_newton_N - rolled * at["up"]
        return np.asarray(pushed_N / np.where(np.asarray(lever) > LEAST_BACK, lever, np.nan), dtype=np.float64)

    exact: dict[str, Numbers] = {
        "way": np.where(sliding, np.sign(slip), np.nan),
        "rolling": along.rolling,
        "back": along.back,
        "up": along.up,
        "level": along.level,
        "steep": along.steep,
    }
    return assemble_source("momentum", tension, inputs, exact, rope.slack == 1, independent=slider.independent)
