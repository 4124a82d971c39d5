"""The predicted run: both machines and the rope, from the teams' numbers and where the machines stood at the start."""

from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from typing import Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.errors import CannotMeasure
from matchvision.forecast.alone import leave_places_out, tie_to
from matchvision.forecast.bands import draw_samples
from matchvision.forecast.curves import take_curves
from matchvision.forecast.gathering import gather
from matchvision.forecast.stages import tell_stages
from matchvision.mechanics.building import build_match
from matchvision.mechanics.guessing import find_known, guess_opponent
from matchvision.mechanics.machine import MatchModel, MeasuredEnd
from matchvision.mechanics.match import MatchCourse, hold_small, play_match, play_match_quickly
from matchvision.mechanics.stated import Findings, check_machine, stated_numbers
from matchvision.records.forecast import ForecastRun
from matchvision.records.results import StageNote
from matchvision.records.sheet import Run, StartPose

#: Spacing of the predicted run's times [s].
TIME_STEP_S: Final = 0.02


def predict_run(
    run: Run,
    starts: Mapping[str, StartPose],
    *,
    samples: int = 256,
    seed: int = 20_260_301,
    far_end: MeasuredEnd | None = None,
) -> tuple[ForecastRun, StageNote]:
    """The predicted run with bands from the uncertainties that the teams state.

    Parameters
    ----------
    run : the run sheet with its forecasts.
    starts : where each machine stands at t = 0, as measured or as the sheet says.
    samples, seed : number of sampled matches and the seed of their quasi-random numbers.
    far_end : where an unknown opponent's end of the rope was measured to be (`alone.follow_end`). The other machine is
        then computed alone on that rope, and who wins is not predicted. Without it an opponent of whom nothing is
        stated is guessed (`mechanics.guessing`).

    Returns
    -------
    forecast, note : medians and standard uncertainties on the match's times; what was done and assumed.

    Raises
    ------
    CannotMeasure
        Where numbers are missing (each key to add is named), or where the run is of a kind that is not predicted.

    Notes
    -----
    Checked by: tests/end_to_end/test_forecast_of_sample_clips.py::test_true_numbers_give_the_filmed_match
    """
    refuse_what_is_not_covered(run)
    t_s = np.arange(0.0, run.sheet.clock.duration_s + TIME_STEP_S / 2, TIME_STEP_S)
    names = machines_in_play(run)
    if run.curves:
        return _from_curves(run, names, starts, t_s)
    findings = Findings()
    known = find_known(run, names) if far_end is not None else None
    if known is None:
        run, guessed = guess_opponent(run)
        findings.assumed += guessed
    if known is not None:
        other = next(name for name in names if name != known)
        findings.left_out.append(
            f"{other}, places and the winner: nothing is stated about the drive of {other}, so {known} was computed "
            f"alone on a rope that {other} draws as it was measured to"
        )
        names = (known,)
    for name in names:
        check_machine(run, name, findings)
        findings.assumed += tell_stages(run, name)
        if name not in starts:
            findings.missing.append(f"[machine.{name}] start, as the clip does not show where {name} stood")
    findings.refuse_gaps()

    stated = stated_numbers(run, names)

    def build(values: Mapping[str, float], findings: Findings) -> MatchModel:
        model = build_match(run, names, starts, values, findings)
        return model if known is None or far_end is None else tie_to(model, run, values, findings, far_end)

    model = build({key: number.value for key, number in stated.items()}, findings)
    solved = play_match(model, t_s)
    quick = play_match_quickly(model, t_s)
    models = [build(values, Findings()) for values in draw_samples(stated, samples, seed)]
    with ThreadPoolExecutor() as threads:  # the compiled steps let other threads run
        courses = list(threads.map(lambda sample: hold_small(play_match_quickly(sample, t_s)), models))
    left_out = _limits(names, solved, findings, run.sheet.table.length_m / 2)
    forecast = gather(run, names, t_s, models, courses, seed, left_out)
    if known is not None:
        forecast = leave_places_out(forecast)
    forecast = replace(forecast, assumed=tuple(dict.fromkeys(findings.assumed)))
    return forecast, _note(forecast, len([n for n in stated.values() if n.u > 0]), solved, quick)


def refuse_what_is_not_covered(run: Run) -> None:
    """Raise for runs that the predicted run does not cover.

    Raises
    ------
    CannotMeasure
        For practice runs other than a sled's or a free one, and where no machine is in the sheet.
    """
    if run.sheet.run.kind in ("lift", "stall", "slope", "coast"):
        msg = f'a run of kind "{run.sheet.run.kind}" is not predicted from numbers'
        raise CannotMeasure(msg, do="bring the forecast as a table: [forecast.X] curve" if run.sheet.forecast else "")
    if not run.sheet.forecast:
        raise CannotMeasure("no forecast is in the sheet", do="add a block [forecast.X] for each machine X")


def machines_in_play(run: Run) -> tuple[str, ...]:
    """The machines that the predicted run is about: those at the rope's ends, or one alone without a rope.

    Raises
    ------
    CannotMeasure
        Where an end of the rope is not a machine of the sheet, or there is no rope between two machines.
    """
    if run.sheet.rope is None:
        names = [name for name in run.sheet.machine if name in run.sheet.forecast]
        if len(names) == 1:
            return (names[0],)
        raise CannotMeasure("without a rope only one machine's run is predicted", do="add [rope] length_m and ends")
    for end in run.sheet.rope.ends:
        if end not in run.sheet.machine:
            raise CannotMeasure(f"the rope's end {end} is no machine of the sheet", do=f"add [machine.{end}]")
    return run.sheet.rope.ends


def _from_curves(
    run: Run, names: Sequence[str], starts: Mapping[str, StartPose], t_s: FloatArray
) -> tuple[ForecastRun, StageNote]:
    without = [name for name in names if name not in run.curves]
    left_out = tuple(
        f"{name} has no forecast table; beside tables only tables are used: add [forecast.{name}] curve"
        for name in without
    )
    left_out += ("slip, traction and heading are not predicted where a table stands in for a machine's numbers",)
    unplaced = [name for name in run.curves if name not in starts]
    if unplaced:
        do = "; ".join(f"add [machine.{name}] start" for name in unplaced)
        raise CannotMeasure("the clip does not show where the machines stood at the start", do=do)
    forecast = take_curves(run, starts, t_s, left_out)
    used = ", ".join(forecast.machines)
    sentence = (
        f"The predicted run was taken from the tables that came with the sheet ({used}), with the u stated there."
    )
    return forecast, StageNote("forecast", "partly", sentence, advice=left_out)


def _limits(names: Sequence[str], solved: MatchCourse, findings: Findings, half_table_m: float) -> tuple[str, ...]:
    """What the match as computed shows that the model does not carry."""
    out = list(findings.left_out)
    for name, course in zip(names, solved.machines, strict=True):
        lifted = np.flatnonzero(course.least_load_N < 0)
        if len(lifted):
            at = f"{solved.t_s[lifted[0]]:.2f} s"
            out.append(
                f"{name} would lift a wheel at {at}; tipping itself is not predicted, its weight stays on the others"
            )
    for name, course in zip(names, solved.machines, strict=True):
        beyond = np.flatnonzero(np.abs(course.x_m) > half_table_m)
        if len(beyond):
            at = f"{solved.t_s[beyond[0]]:.2f} s"
            out.append(f"{name} would pass the table's end at {at}; the run as predicted goes on as if the table did")
    return tuple(out)


def _note(forecast: ForecastRun, uncertain: int, solved: MatchCourse, quick: MatchCourse) -> StageNote:
    apart_N = float(np.sqrt(np.mean((solved.tension_N - quick.tension_N) ** 2)))
    apart_m = max(
        float(np.max(np.abs(a.x_m - b.x_m))) for a, b in zip(solved.machines, quick.machines, strict=True)
    )  # fmt: skip
    sentence = (
        f"The match was computed as an initial-value problem from the sheet's numbers and the places at the start, for "
        f"{forecast.samples} quasi-random samples (seed {forecast.seed}) of {uncertain} uncertain numbers; medians are "
        f"given with standard deviations. The samples' quick solver and the exact one agree on the stated numbers "
        f"within {1000 * apart_m:.2f} mm and {apart_N:.2f} N (rms)."
    )
    if forecast.assumed:
        sentence += " Assumed: " + "; ".join(forecast.assumed) + "."
    bandless = ("no forecast number states an uncertainty (u), so the predicted run has no bands",)
    warnings = bandless if uncertain == 0 else ()
    return StageNote("forecast", "partly" if forecast.left_out else "done", sentence, warnings, forecast.left_out)
