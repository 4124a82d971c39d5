"""Whether a class's stated uncertainties and chances come true."""

import math
import re
from collections.abc import Sequence
from itertools import pairwise
from typing import Final

import numpy as np
from scipy.special import ndtri

from matchvision.records.classbook import ChanceBin, Coverage, Pair, Spread
from matchvision.season.running import Played
from matchvision.uncertainty.scoring import brier_score, wilson_interval

#: Coverages that are tested; the team's own distribution is taken as normal about its prediction.
STATED: Final = (0.5, 0.68, 0.8, 0.9, 0.95)
#: Edges of the chances' bins.
EDGES: Final = (0.0, 0.1, 0.3, 0.5, 0.7, 0.9, 1.0)
#: Of quantities that follow from each other one is enough: a mean speed is the distance over the same time, and the
#: rope goes where the machines go.
_REPEATED: Final = ("mean speed towards home", "rope on the", "chance to win")
_QUANTITY: Final = re.compile(r"^(?P<what>.+?)(?:, (?:as stated by )?(?P<team>[^,]+))?$")


def find_pairs(played: Sequence[Played], counting: Sequence[bool]) -> tuple[Pair, ...]:
    """Every quantity predicted and measured, of the runs that count, team by team; the rope's own go to both teams."""
    found: list[Pair] = []
    for one, counts in zip(played, counting, strict=True):
        for row in one.brief.comparison if one.brief and counts else ():
            # A phase's rows say again, piece by piece, what the whole run's say.
            if row.phase or row.quantity.startswith(_REPEATED) or row.predicted is None or row.measured is None:
                continue
            match = _QUANTITY.match(row.quantity)
            what, team = (match["what"], match["team"]) if match else (row.quantity, None)
            u_predicted, u_measured = row.u_predicted or 0.0, row.u_measured or 0.0
            u = math.hypot(u_predicted, u_measured)
            zeta = (row.predicted - row.measured) / u if u > 0 and u_predicted > 0 else math.nan
            numbers = (row.predicted, u_predicted, row.measured, u_measured, zeta)
            whose = (team,) if team in one.entry.teams else one.entry.teams
            found += [Pair(one.entry.id, str(name), what, row.unit, *numbers) for name in whose]
    return tuple(found)


def find_coverage(pairs: Sequence[Pair], team: str = "") -> tuple[Coverage, ...]:
    """How often intervals of each stated coverage held what was measured; ``team`` "" is the whole class.

    Quantities of one run go together, so the interval counts runs and not quantities: it is wide rather than hopeful.

    Notes
    -----
    Checked by: tests/season/test_calibration.py::test_honest_uncertainties_cover_as_stated
    """
    own = _judged(pairs, team)
    if not own:
        return ()
    zeta, runs = np.array([abs(p.zeta) for p in own]), len({p.id for p in own})
    found = []
    for stated in STATED:
        inside = float(np.mean(zeta <= ndtri(0.5 + stated / 2)))
        low, high = _interval(inside, runs)
        found.append(Coverage(team, stated, inside, len(own), runs, low, high))
    return tuple(found)


def _judged(pairs: Sequence[Pair], team: str) -> list[Pair]:
    """Pairs with a stated uncertainty; of the whole class each of the rope's quantities once."""
    own = [p for p in pairs if math.isfinite(p.zeta) and team in ("", p.team)]
    if team:
        return own
    once = {(p.id, p.quantity, p.predicted, p.measured): p for p in own}
    return list(once.values())


def _interval(share: float, runs: int) -> tuple[float, float]:
    low, _ = wilson_interval(math.floor(share * runs + 1e-9), runs)
    _, high = wilson_interval(math.ceil(share * runs - 1e-9), runs)
    return low, high


def find_spreads(teams: Sequence[str], pairs: Sequence[Pair], played: Sequence[Played]) -> tuple[Spread, ...]:
    """Of each team: root mean square of error over stated uncertainty, and the Brier score of its chances."""
    found = []
    for team in teams:
        own = _judged(pairs, team)
        zeta = np.array([p.zeta for p in own])
        chances = [c for c in chances_of(played) if c[0] == team]
        found.append(
            Spread(
                team=team,
                rms_zeta=float(np.sqrt(np.mean(zeta**2))) if len(zeta) else math.nan,
                count=len(own),
                runs=len({p.id for p in own}),
                brier=brier_score([c[1] for c in chances], [float(c[2]) for c in chances]) if chances else math.nan,
            )
        )
    return tuple(found)


def chances_of(played: Sequence[Played]) -> list[tuple[str, float, bool]]:
    """Of every match with a sure result, nobody's among them: machine, chance that the forecasts gave it, if it won."""
    return [
        (name, float(chance), name == one.brief.verdict.winner)
        for one in played
        if one.brief and one.brief.forecast and one.brief.verdict.sure
        for name, chance in one.brief.forecast.win_chance.items()
        if chance is not None
    ]


def find_chances(played: Sequence[Played]) -> tuple[ChanceBin, ...]:
    """Chances to win against how often they came true; of the two chances of a match the favourite's is taken.

    Notes
    -----
    Checked by: tests/season/test_calibration.py::test_chances_are_held_against_what_happened
    """
    favourites = [(chance, won) for _, chance, won in chances_of(played) if chance >= 0.5]
    found = []
    for low, high in pairwise(EDGES):
        inside = [(c, w) for c, w in favourites if low <= c < high or (high == 1.0 and c == 1.0)]
        if inside:
            won = sum(w for _, w in inside)
            bounds = wilson_interval(won, len(inside))
            found.append(ChanceBin(low, high, float(np.mean([c for c, _ in inside])), won, len(inside), *bounds))
    return tuple(found)
