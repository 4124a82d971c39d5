"""A rope that is slack by its stated length, while its sprung link is stretched: the link is believed."""

import math
from dataclasses import replace
from typing import Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.errors import CannotMeasure
from matchvision.pull.hanging import fit_link
from matchvision.pull.link import measure_link
from matchvision.pull.steadying import lasting
from matchvision.records.motion import Motion
from matchvision.records.sheet import Run
from matchvision.uncertainty import format_interval

#: Stretched is a link that pulls with more than so many of its own standard uncertainties …
CLEARLY: Final = 4.0
#: … for so long: a rope that is let go takes some frames to come to rest.
LASTS_S: Final = 0.2
#: Taken to lie on the table, a link that hangs five centimetres above it is seen this much too large or small by a
#: camera two metres away (rectangular).
U_WRONG_HEIGHT_RATIO: Final = 0.05 / 2.0 / math.sqrt(3)


def believe_stretched_link(run: Run, motion: Motion, match_s: FloatArray) -> tuple[Motion, tuple[str, ...]]:
    """The motion with its rope taut where the link shows it so, whatever the rope's length says; and what to tell.

    Parameters
    ----------
    match_s : (n,) float array
        Match time of the frames [s].

    Notes
    -----
    Checked by: tests/pull/test_tautness.py::test_link_is_believed_against_a_wrong_length
    """
    rope, cord = motion.rope, run.sheet.rope
    if rope is None or cord is None or cord.link is None or run.hang_test is None or not (rope.slack == 1).any():
        return motion, ()
    try:
        law = fit_link(run.hang_test, cord.link.u_reading_m)
    except CannotMeasure:
        return motion, ()
    source = measure_link(law, replace(rope, slack=np.zeros_like(rope.slack)), motion.real_s)
    pulls = (rope.slack == 1) & (source.tension_N > CLEARLY * source.u_tension_N)
    pulls = lasting(pulls, motion.real_s, LASTS_S)
    if not pulls.any():
        return motion, ()
    most = int(np.argmax(np.where(pulls, source.tension_N, -np.inf)))
    at_s = match_s[pulls]
    pulled = format_interval(float(source.tension_N[most]), float(source.u_tension_N[most]), "N")
    said = (
        f"The rope would be slack by its stated length ({cord.length_m:g} m), yet its link was stretched between "
        f"{at_s[0]:.2f} s and {at_s[-1]:.2f} s, by up to {pulled} (95 %). The link is believed, but where the rope "
        "lies and which way it pulls rest on that length, so its scale is less sure: measure [rope] length_m again, "
        "unloaded, its link at rest included."
    )
    u_ratio = math.hypot(rope.u_link_common_ratio, U_WRONG_HEIGHT_RATIO)
    taut = replace(rope, slack=np.where(pulls, 0.0, rope.slack), u_link_common_ratio=u_ratio)
    return replace(motion, rope=taut), (said,)
