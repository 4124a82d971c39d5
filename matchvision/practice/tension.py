"""The pull that a practice run rests on."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.errors import CannotMeasure
from matchvision.practice.budgets import Known
from matchvision.records.pull import Pull
from matchvision.records.sheet import Run

#: Stretches shorter than this leave a mean too unsure [s].
SHORTEST_S: Final = 0.3


@dataclass(frozen=True, eq=False)
class Tension:
    """The tension (n,): ``own_N`` is the uncertainty new in every frame, ``common`` the tension as an input of all."""

    value_N: FloatArray
    own_N: FloatArray
    common: Known
    source: str
    word: str


def known_tension(run: Run, pull: Pull | None) -> Tension:
    """Tension from the source that needs the fewest assumptions: link, cord, hanging or dragged load.

    Raises
    ------
    CannotMeasure
        Where there is none that is independent of the forecast.
    """
    words = {"link": "sprung link", "stretch": "cord's stretch", "inertia": "known load"}
    for name, word in words.items():
        source = None if pull is None else pull.source(name)
        if source is not None and source.independent and np.isfinite(source.tension_N).any():
            own_N = np.sqrt(np.maximum(source.u_tension_N**2 - source.u_common_N**2, 0.0))
            common = Known(f"pull by the {word}", source.tension_N, source.u_common_N, "N")
            return Tension(source.tension_N, own_N, common, name, word)
    for name, machine in run.sheet.machine.items():
        if machine.load is not None and machine.load.hangs and machine.mass_kg is None:
            raise CannotMeasure(
                f"the mass of {name}, which hangs at the rope, is not stated",
                do=f"weigh it: [machine.{name}] mass_kg, u_mass_kg",
            )
    raise CannotMeasure(
        "nothing tells how hard the rope was pulled",
        do="set a sprung link with a hang test into the rope ([rope.link]), or lift a weighed mass "
        "([machine.X.load] hangs = true)",
    )
