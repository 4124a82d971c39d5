"""Hands over the table, from grids made by hand."""

import numpy as np
import numpy.typing as npt

from matchvision.grip.touch import LEAST_M2, find_touches, reaches
from matchvision.records.events import Event
from matchvision.records.foreign import ForeignLook
from matchvision.records.motion import MachineMotion, MatchClock
from tests.made_motion import make_machine, make_motion, make_rope, make_run, seconds

T_S = seconds(4.0)
N = len(T_S)
CLOCK = MatchClock(0.5, 3.0)
LOOKS_S = T_S[::4]
X_M, Y_M = np.linspace(-1.19, 1.19, 96), np.linspace(-0.59, 0.59, 48)
Grids = npt.NDArray[np.bool_]


def events_of(covered: Grids, shaded: Grids | None = None, plover: MachineMotion | None = None) -> list[Event]:
    size = {"size_m": (0.28, 0.23, 0.12)}
    run = make_run(machine={"heron": {"home": "-x", **size}, "plover": {"home": "+x", **size}})
    machines = [make_machine("heron", N, x_m=-0.6, heading_deg=180.0), plover or make_machine("plover", N, x_m=0.6)]
    beads = {"bead_01": (-0.2, 0.0), "bead_02": (0.2, 0.0)}
    motion = make_motion(T_S, machines=machines, rope=make_rope(N), beads=beads)
    packed = np.packbits(covered.reshape(len(LOOKS_S), -1), axis=1)
    dim = packed if shaded is None else np.packbits(shaded.reshape(len(LOOKS_S), -1), axis=1)
    eye = np.tile([0.0, -1.6, 1.4], (len(LOOKS_S), 1))
    return find_touches(run, motion, ForeignLook(LOOKS_S, X_M, Y_M, packed, dim, eye), CLOCK)


def nothing() -> Grids:
    return np.zeros((len(LOOKS_S), len(Y_M), len(X_M)), dtype=np.bool_)


def over(grids: Grids, from_s: float, until_s: float, x: tuple[float, float], y: tuple[float, float]) -> Grids:
    when = (from_s <= LOOKS_S) & (until_s > LOOKS_S)
    place = ((y[0] < Y_M) & (y[1] > Y_M))[:, None] & ((x[0] < X_M) & (x[1] > X_M))[None]
    return np.asarray(grids | (when[:, None, None] & place))


def test_hand_from_the_edge_is_found() -> None:
    (event,) = events_of(over(nothing(), 1.5, 2.2, (-0.1, 0.0), (-0.6, -0.2)))
    assert (event.kind, event.machine) == ("touch", "")
    assert abs(event.start_s - 1.0) < 0.1
    assert abs(event.end_s - 1.7) < 0.1
    assert "while the clock ran" in event.evidence


def test_hand_on_a_grey_sleeve_is_found() -> None:
    """The sleeve may be a shadow; the hand at its end is not."""
    hand = over(nothing(), 1.5, 2.2, (-0.1, 0.0), (-0.3, -0.2))
    sleeve = over(nothing(), 1.5, 2.2, (-0.1, 0.0), (-0.6, -0.28))
    assert len(events_of(hand, sleeve)) == 1
    assert not events_of(nothing(), sleeve)


def test_machines_rope_and_specks_are_no_hand() -> None:
    quiet = over(nothing(), 1.0, 3.0, (0.45, 0.75), (-0.12, 0.25))
    quiet = over(quiet, 1.0, 3.0, (-0.22, -0.18), (-0.03, 0.03))
    quiet = over(quiet, 1.0, 3.0, (-0.1, 0.1), (0.1, 0.2))
    quiet = over(quiet, 1.0, 1.1, (0.9, 1.2), (-0.6, -0.4))
    assert not events_of(quiet)


def test_body_that_fell_over_is_no_hand() -> None:
    """Plover rears up by the table's edge and is lost on its back, where no standing machine would hide the table."""
    stands, lies = {"x_m": 0.6, "y_m": -0.42}, over(nothing(), 2.0, 4.0, (0.2, 0.45), (-0.6, -0.35))
    up = np.where(T_S < 2.0, np.clip(60 * (T_S - 1.0), 0, 50), np.nan)
    where = {key: np.where(T_S < 2.0, at, np.nan) for key, at in stands.items()}
    assert not events_of(lies, plover=make_machine("plover", N, **where, pitch_deg=up, u_pitch_deg=1.0))
    assert len(events_of(lies, plover=make_machine("plover", N, **stands))) == 1
    # One that was lost while it stood may have been lost behind a hand.
    assert len(events_of(lies, plover=make_machine("plover", N, **where, pitch_deg=np.where(T_S < 2, 0, np.nan)))) == 1


def test_a_hand_that_is_hidden_in_part_between_is_told_once() -> None:
    """Half a second of it with less than counts to be seen between two of which each counts by itself."""
    match_s = 0.1 * np.arange(40.0)
    areas = np.zeros(40)
    areas[5:30] = LEAST_M2 / 4
    areas[8:14], areas[20:26] = 3 * LEAST_M2, 2 * LEAST_M2
    assert reaches(areas, match_s) == [(5, 29)]
    areas[16] = 0.0
    assert reaches(areas, match_s) == [(5, 15), (17, 29)]
