"""How a wheel stands to the ground, as a hidden state with rates of change, from slip, ground and surface speed."""

from typing import Final

import numpy as np
from scipy.special import ndtr

from matchvision.arrays import BoolArray, FloatArray
from matchvision.grip.hidden import Chain, forward_backward, tied_frames
from matchvision.mechanics.match import SLIP_SPEED_M_S
from matchvision.records.motion import MachineMotion, WheelMotion

STATES: Final = ("gripping", "held", "slipping", "spinning", "dragged", "locked")
GRIPPING, HELD, SLIPPING, SPINNING, DRAGGED, LOCKED = range(len(STATES))
#: States in which the wheel's surface moves past the ground.
SLIDING: Final = (SLIPPING, SPINNING, DRAGGED, LOCKED)
#: A machine slower than this stands, and a wheel whose surface is slower than this stands.
STANDING_M_S: Final = 0.010
#: A gripping wheel lets go twice a second: some never do in a match, one on a springy rope two or three times a second.
LETS_GO_PER_S: Final = 2.0
#: A sliding wheel grips again after a quarter of a second: slips of a tenth of a second and of ten seconds both occur.
GRIPS_AGAIN_PER_S: Final = 4.0
#: One kind of slide goes over to another five times a second: a machine on a springy rope swings two or three times a
#: second, and each time it comes to stand and goes on. Rarer changes would make an onset in which the machine still
#: moves wait until it stands. What lasts no longer than `slip.KIND_LASTS_S` is not told apart.
CHANGES_KIND_PER_S: Final = 5.0
#: A brake or self-locking gear is set or let go once in five seconds.
BRAKES_PER_S: Final = 0.2


def wheel_chain(
    wheel: WheelMotion, moved: MachineMotion, drive_speed_m_s: FloatArray, real_s: FloatArray, may_hold: BoolArray
) -> Chain:
    """Probability of each of `STATES` in each frame.

    Parameters
    ----------
    drive_speed_m_s : (n,) float array
        The machine's speed along its drive direction.
    may_hold : (n,) bool array
        Where a brake or a self-locking gear may be holding: the sheet lists one, and the rope may pull.

    Notes
    -----
    A state is a region of true slip speed s, ground speed v and surface speed w: sliding is |s| > 30 mm/s; spinning:
    the machine slower than 10 mm/s; dragged: the wheel turns slower than the ground passes, the same way; locked:
    dragged with the surface slower than 10 mm/s; held: no slide, machine and surface both slower than that. How well a
    state explains a frame is the probability of its region given the frame's values and their u, no value being
    favoured beforehand. Frames that the smoother ties together count once, `tied_frames`.
    Checked by: tests/grip/test_states.py::test_states_follow_a_made_story
    """
    s, v, w = wheel.slip_speed_m_s, drive_speed_m_s, wheel.surface_speed_m_s
    u_s, u_v, u_w = wheel.u_slip_speed_m_s, moved.u_speed_m_s, wheel.u_surface_speed_m_s
    known = np.isfinite(s) & np.isfinite(u_s) & np.isfinite(v) & np.isfinite(w)
    chance = np.full((len(s), len(STATES)), 1.0 / len(STATES))
    way = np.where(np.nan_to_num(v) < 0, -1.0, 1.0)
    behind = _chance_below(way * s, u_s, -SLIP_SPEED_M_S)
    ahead = 1.0 - _chance_below(way * s, u_s, SLIP_SPEED_M_S)
    slides = behind + ahead
    stands = _chance_within(v, u_v, STANDING_M_S)
    wheel_stands = _chance_within(w, u_w, STANDING_M_S)
    rolls_along = 1.0 - _chance_below(way * w, u_w, STANDING_M_S)
    against = _chance_below(way * w, u_w, -STANDING_M_S)
    held = np.where(may_hold, (1 - slides) * stands * wheel_stands, 0.0)
    chance[:, HELD] = held
    chance[:, GRIPPING] = 1 - slides - held
    chance[:, SPINNING] = slides * stands
    chance[:, LOCKED] = behind * wheel_stands * (1 - stands)
    chance[:, DRAGGED] = behind * rolls_along * (1 - stands)
    chance[:, SLIPPING] = (ahead + behind * against) * (1 - stands)
    chance[~known] = 1.0
    power = 1.0 / tied_frames(np.where(known, s, np.nan), u_s, real_s)
    return forward_backward(np.maximum(chance, 1e-12) ** power, real_s, _rates())


def _rates() -> FloatArray:
    """How often each state goes over to each other one [1/s]."""
    rates = np.zeros((len(STATES), len(STATES)))
    for rests in (GRIPPING, HELD):
        for slides in SLIDING:
            rates[rests, slides] = LETS_GO_PER_S / len(SLIDING)
        for slides in SLIDING:
            rates[slides, rests] = GRIPS_AGAIN_PER_S / 2
    rates[GRIPPING, HELD] = rates[HELD, GRIPPING] = BRAKES_PER_S
    for a in SLIDING:
        for b in SLIDING:
            if a != b:
                rates[a, b] = CHANGES_KIND_PER_S / (len(SLIDING) - 1)
    return rates


def _chance_below(values: FloatArray, u: FloatArray, level: float) -> FloatArray:
    return np.asarray(ndtr((level - values) / np.where(u > 0, u, 1e-6)))


def _chance_within(values: FloatArray, u: FloatArray, level: float) -> FloatArray:
    return _chance_below(values, u, level) - _chance_below(values, u, -level)
