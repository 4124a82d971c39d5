"""The verdict stage: ruling, comparison with the forecast, causes."""

import math
from collections.abc import Mapping

from matchvision.errors import CannotMeasure
from matchvision.mechanics.guessing import guess_opponent
from matchvision.records.events import Grip
from matchvision.records.forecast import ForecastRun
from matchvision.records.motion import MatchClock, Motion
from matchvision.records.pull import Pull
from matchvision.records.results import CauseRow, ComparisonRow, CurveRow, Doubts, Grounds, Ruling, StageNote, Verdict
from matchvision.records.sheet import Run, StartPose
from matchvision.uncertainty import format_chance
from matchvision.uncertainty.scoring import crps_gaussian, expected_brier
from matchvision.verdict.causes.by_comparison import weigh_causes
from matchvision.verdict.causes.reasoning import reason
from matchvision.verdict.comparing import Compared, compare_run
from matchvision.verdict.doubting import doubt
from matchvision.verdict.judging import rule
from matchvision.verdict.phases import find_phases
from matchvision.verdict.phasing import compare_curves, compare_phases


def judge(
    run: Run,
    motion: Motion,
    pull: Pull | None,
    grip: Grip | None,
    clock: MatchClock,
    forecast: ForecastRun | None,
    doubts: Doubts | None = None,
) -> tuple[Verdict, StageNote]:
    """Who won and how surely, and measured against predicted; the causes are left to `seek_causes`, which takes longer.

    Works with whatever there is: without a forecast there is a ruling alone.
    ``doubts`` are what the footage shows otherwise than the sheet says.
    """
    ruling = doubt(rule(run, motion, clock), doubts or Doubts())
    compared = compare_run(run, motion, pull, grip, clock, forecast, ruling)
    rows = tuple(c.row for c in compared)
    phases = find_phases(motion, grip, clock)
    curves: tuple[CurveRow, ...] = ()
    if forecast is not None:
        rows += compare_phases(run, motion, pull, clock, forecast, phases)
        curves = compare_curves(motion, pull, clock, forecast, phases)
    verdict = Verdict(ruling, rows, (), forecast is not None or bool(compared), phases, curves)
    alone = run.sheet.run.kind not in ("match", "sled")
    advice = (
        ()
        if compared or alone
        else ("A forecast would let measured and predicted be compared, and causes be weighed.",)
    )
    no_winner = run.sheet.run.kind == "match" and ruling.winner is None and not math.isfinite(ruling.margin_m)
    sentence = " ".join((ruling.sentence, *describe_comparison(compared, ruling)))
    return verdict, StageNote("verdict", "partly" if no_winner else "done", sentence, advice=advice)


def seek_causes(run: Run, grounds: Grounds, starts: Mapping[str, StartPose]) -> tuple[tuple[CauseRow, ...], StageNote]:
    """Why it went as it went: by refits of the computed match; where that cannot be, by the comparison alone.

    ``starts`` says where the machines stood at the start.
    """
    known = (grounds.motion, grounds.pull, grounds.grip, grounds.clock)
    if grounds.forecast is None:
        refused = CannotMeasure("there is no predicted run", do="add [forecast.X] with each machine's numbers")
    else:
        try:
            causes = reason(run, *known, starts)
            return causes, StageNote("causes", "done", describe_search(causes, guess_opponent(run)[1]))
        except CannotMeasure as reasons:
            refused = reasons
    weighed = weigh_causes(compare_run(run, *known, grounds.forecast, grounds.ruling), grounds.grip)
    what = f"Causes were weighed by the comparison alone, because {refused.what.rstrip('.')}."
    advice = (refused.do.rstrip(".") + ".",) if refused.do else ()
    return weighed, StageNote("causes", "done" if weighed else "skipped", what, advice=advice)


def describe_search(causes: tuple[CauseRow, ...], guessed: tuple[str, ...] = ()) -> str:
    """How causes were sought, what of an unmeasured opponent was guessed for it, and what came out first."""
    said = (
        "Every explanation with one change to the forecast was refitted to the speeds, headings, wheel rates and pull "
        "as measured, and all were compared by their evidence; their chances add to 100 %."
    )
    said += "".join(f" Guessed of {one}; whatever its operator gave." for one in guessed)
    return f"{said} {causes[0].statement}" if causes else said


def describe_comparison(compared: tuple[Compared, ...], ruling: Ruling) -> list[str]:
    """How many quantities agree, and the scores of the stated chances and of the rope's predicted place."""
    rows = [c.row for c in compared if c.group != "chance"]
    if not compared:
        return []
    counts = {word: sum(row.within == word for row in rows) for word in ("yes", "no", "inconclusive")}
    said = [
        f"Of {len(rows)} quantities compared with the forecast {counts['yes']} agree (|E_n| ≤ 1), {counts['no']} do "
        f"not, {counts['inconclusive']} cannot tell, since their uncertainty is too large."
    ]
    chance = next((c.row for c in compared if c.group == "chance" and c.machine == ruling.winner), None)
    if chance is not None:
        score = expected_brier(chance.predicted, chance.measured)
        said.append(f"The forecast gave the winner {format_chance(chance.predicted)} (Brier score {score:.2g}).")
    place = next((row for row in rows if row.quantity.startswith("rope on")), None)
    if place is not None and place.u_predicted > 0:
        said.append(f"CRPS of the rope's place at the end: {1000 * _crps(place):.0f} mm.")
    return said


def _crps(row: ComparisonRow) -> float:
    return float(crps_gaussian(row.predicted, row.u_predicted, row.measured))
