"""How the rope lies between machines that stand still."""

import numpy as np

from matchvision.mechanics import layout as at
from matchvision.mechanics.dynamics import make_room
from matchvision.mechanics.machine import MatchModel
from matchvision.mechanics.packing import pack
from matchvision.mechanics.pulling import pull_rope
from matchvision.mechanics.rope import rope_on_plus_x_m


def lay_rope(model: MatchModel) -> tuple[float, float]:
    """Length [m] of the taut way between both hitches, over crests that are in it, and how much lies beyond x = 0.

    Parameters
    ----------
    model : two machines where they stand, and the rope between them.

    Notes
    -----
    Checked by: tests/derived/test_ridge_match.py::test_rope_over_the_crest_is_two_straight_halves
    """
    if model.rope is None:
        return 0.0, 0.0
    packed = pack(model)
    placed, pull, results = np.empty((2, at.PLACED)), np.empty((2, 3)), np.empty(at.ALL_RESULTS)
    pull_rope(0.0, packed.state, packed.numbers, placed, pull, results, make_room(packed.numbers))
    hitches = placed[:, at.HITCH_AT : at.HITCH_AT + 3]
    if len(packed.numbers.crests):
        length_m = float(results[at.STRETCH] + packed.numbers.rope[at.ROPE_LENGTH])
        return length_m, float(results[at.PLUS_SHARE]) * length_m
    length_m = float(np.linalg.norm(hitches[1] - hitches[0]))
    plus = rope_on_plus_x_m(hitches[:1, 0], hitches[1:, 0], np.array([length_m]))
    return length_m, float(plus[0])
