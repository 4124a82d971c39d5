"""``result.json``: the whole answer in brief, as a checked model that also gives its schema."""

import math
from collections.abc import Iterable, Mapping
from dataclasses import asdict
from typing import Annotated, Any, Literal

import numpy as np
import numpy.typing as npt
from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

import matchvision
from matchvision.records.results import Analysis, CauseRow


def _blank_unknown(raw: Any) -> Any:  # noqa: ANN401 - whatever stands in a record or file
    return None if isinstance(raw, float) and not math.isfinite(raw) else raw


#: A number, or null where it is not known.
MaybeNumber = Annotated[float | None, BeforeValidator(_blank_unknown, json_schema_input_type=float | None)]


class ResultModel(BaseModel):
    """Common manners: frozen, and nothing unknown in it."""

    model_config = ConfigDict(frozen=True, extra="forbid", json_schema_serialization_defaults_required=True)


class Software(ResultModel):
    """What computed the result."""

    name: Literal["matchvision"] = "matchvision"
    version: str


class RunBrief(ResultModel):
    """Which run."""

    name: str
    kind: str


class ClipBrief(ResultModel):
    """Which clip: its name, its fingerprint and what the file says about itself."""

    file: str
    sha256: str
    codec: str
    width_px: int
    height_px: int
    frame_rate_per_s: MaybeNumber
    duration_s: MaybeNumber
    pictures: int


class ClockBrief(ResultModel):
    """Where match time begins in the clip."""

    start_clip_s: float
    u_start_s: MaybeNumber
    duration_s: float
    real_per_clip_ratio: float
    source: str


class CameraBrief(ResultModel):
    """How the camera was found, and how well it fits."""

    source: str
    moves: bool
    points: int
    rms_px: MaybeNumber
    fx_px: MaybeNumber
    u_fx_px: MaybeNumber
    supported_ratio: Annotated[float, Field(description="share of poses that the picture itself supports")]


class VerdictBrief(ResultModel):
    """Who has won: ``margin_m`` is the winner's rope beyond the share to win, ``sure`` whether it exceeds its U95."""

    winner: str | None
    margin_m: MaybeNumber
    u_margin_m: MaybeNumber
    sure: bool
    share: MaybeNumber
    u_share: MaybeNumber
    decided_at_s: MaybeNumber
    sentence: str


class ForecastBrief(ResultModel):
    """What was predicted."""

    winner: str
    win_chance: dict[str, MaybeNumber]
    margin_m: MaybeNumber
    u_margin_m: MaybeNumber
    samples: int
    seed: int
    left_out: tuple[str, ...]


class StatedBrief(ResultModel):
    """What a team said beforehand would happen; null where it said nothing."""

    win_chance: MaybeNumber
    peak_pull_N: MaybeNumber
    u_peak_pull_N: MaybeNumber
    failure_named: str | None


class PeakBrief(ResultModel):
    """The greatest value of a quantity during the match, and when."""

    quantity: str
    unit: str
    machine: str
    source: str
    value: float
    u: MaybeNumber
    at_s: float


class EventBrief(ResultModel):
    """As a row of the table of events."""

    kind: str
    machine: str
    start_s: float
    end_s: MaybeNumber
    u_start_s: MaybeNumber
    probability: MaybeNumber
    evidence: str
    frame: int = -1


class ComparisonBrief(ResultModel):
    """As a row of the table of comparison."""

    quantity: str
    unit: str
    predicted: MaybeNumber
    u_predicted: MaybeNumber
    measured: MaybeNumber
    u_measured: MaybeNumber
    error: MaybeNumber
    u_validation: MaybeNumber
    en: MaybeNumber
    within: str
    phase: str = ""
    machine: str = ""
    scale: MaybeNumber = None


class PhaseBrief(ResultModel):
    """A stretch of the run, and what says that it is one."""

    phase: str
    from_s: float
    until_s: float
    evidence: str


class CurveBrief(ResultModel):
    """As a row of the table of curves."""

    quantity: str
    unit: str
    machine: str
    phase: str
    from_s: float
    until_s: float
    distance_ratio: MaybeNumber
    shift_s: MaybeNumber
    u_shift_s: MaybeNumber
    size_ratio: MaybeNumber
    u_size_ratio: MaybeNumber
    shape_ratio: MaybeNumber
    inside_ratio: MaybeNumber
    crps_ratio: MaybeNumber


class CauseBrief(ResultModel):
    """As a row of the table of causes."""

    cause: str
    machine: str
    probability: MaybeNumber
    estimate: MaybeNumber
    u_estimate: MaybeNumber
    unit: str
    since_s: MaybeNumber
    statement: str


def brief_cause(cause: CauseRow) -> CauseBrief:
    """A cause without its curves."""
    return CauseBrief(**{name: getattr(cause, name) for name in CauseBrief.model_fields})


class LeverBrief(ResultModel):
    """The losing machine with one lever at another setting: what it could hold, how fast it went, its chance to win."""

    lever: str
    setting: float
    value: float
    unit: str
    pull_N: MaybeNumber
    u_pull_N: MaybeNumber
    limit: str
    speed_m_s: MaybeNumber
    u_speed_m_s: MaybeNumber
    win_chance: float


class RemedyBrief(ResultModel):
    """The smallest change of one lever that would have turned the verdict; ``setting`` null where none would have."""

    lever: str
    setting: MaybeNumber
    size: MaybeNumber
    win_chance: float
    low_chance: MaybeNumber
    high_chance: MaybeNumber
    statement: str


class RemediesBrief(ResultModel):
    """What would have won, for the machine that lost: see ``docs/remedies.md``."""

    machine: str
    limits: tuple[tuple[str, float], ...]
    points: tuple[LeverBrief, ...]
    remedies: tuple[RemedyBrief, ...]
    sentence: str
    caveats: tuple[str, ...]
    samples: int


class BudgetBrief(ResultModel):
    """One line of a source's uncertainty at its greatest pull, k = 1.

    The input ``value ± u_value`` in ``value_unit`` times ``sensitivity`` adds ``u`` in ``unit``; null
    where a line has no single input. ``common``: the same error in all frames.
    """

    source: str
    name: str
    u: MaybeNumber
    unit: str
    common: bool
    value: MaybeNumber
    u_value: MaybeNumber
    value_unit: str
    sensitivity: MaybeNumber


class PracticeLine(ResultModel):
    """One line of a measured number's uncertainty, k = 1, in its unit."""

    name: str
    u: MaybeNumber
    value: MaybeNumber
    u_value: MaybeNumber
    value_unit: str


class PracticeNumber(ResultModel):
    """A number that a practice run measured: ``key`` is its place in a run sheet, ``u`` standard, ``u95`` for 95 %."""

    key: str
    name: str
    value: float
    unit: str
    u: MaybeNumber
    u95: MaybeNumber
    degrees: Annotated[MaybeNumber, Field(description="effective degrees of freedom of u; null for infinite")]
    since_s: MaybeNumber
    until_s: MaybeNumber
    how: str
    budget: tuple[PracticeLine, ...]


class PracticeBrief(ResultModel):
    """What a practice run measured, and what it could have."""

    kind: str
    numbers: tuple[PracticeNumber, ...]
    missing: tuple[str, ...]
    warnings: tuple[str, ...]


class FaultBrief(ResultModel):
    """A weakness of the footage."""

    what: str
    consequence: str
    do: str
    weight: Literal["remark", "costs", "unusable"] = "costs"


class NoteBrief(ResultModel):
    """What one stage did."""

    stage: str
    status: Literal["done", "partly", "skipped"]
    sentence: str
    warnings: tuple[str, ...]
    advice: tuple[str, ...]


class ResultFile(ResultModel):
    """The whole answer in brief. Numbers that are not known are null; uncertainties are standard ones (k = 1)."""

    format_version: Literal[1] = 1
    software: Software
    run: RunBrief
    clip: ClipBrief
    clock: ClockBrief
    camera: CameraBrief
    verdict: VerdictBrief
    forecast: ForecastBrief | None
    stated: Annotated[
        dict[str, StatedBrief], Field(description="by machine, of every team that forecast anything")
    ] = {}
    peaks: tuple[PeakBrief, ...]
    events: tuple[EventBrief, ...]
    comparison: tuple[ComparisonBrief, ...]
    phases: tuple[PhaseBrief, ...] = ()
    curves: tuple[CurveBrief, ...] = ()
    causes: tuple[CauseBrief, ...]
    remedies: RemediesBrief | None = None
    causes_due: Annotated[bool, Field(description="true while causes are still to be added to these results")] = False
    budget: tuple[BudgetBrief, ...]
    practice: PracticeBrief | None = None
    disagreement: tuple[str, ...]
    left_out: tuple[str, ...]
    footage_faults: tuple[FaultBrief, ...]
    notes: tuple[NoteBrief, ...]
    files: tuple[str, ...]


def sum_up(analysis: Analysis, files: Iterable[str]) -> ResultFile:
    """The analysis in brief.

    Parameters
    ----------
    analysis : Analysis
    files : names of the files and folders that stand beside ``result.json``.
    """
    pull, grip, clock = analysis.pull, analysis.grip, analysis.clock
    budget = [{"source": s.source, **asdict(line)} for s in (pull.sources if pull else ()) for line in s.budget]
    content: Mapping[str, Any] = {
        "software": {"version": matchvision.__version__},
        "run": {"name": analysis.run.sheet.run.name, "kind": analysis.run.sheet.run.kind},
        "clip": _clip(analysis),
        "clock": {
            "start_clip_s": clock.start_clip_s,
            "u_start_s": clock.u_start_s,
            "duration_s": clock.duration_s,
            "real_per_clip_ratio": clock.real_per_clip_ratio,
            "source": clock.source,
        },
        "camera": _camera(analysis),
        "verdict": _verdict(analysis),
        "forecast": _forecast(analysis),
        "stated": _stated(analysis),
        "peaks": _peaks(analysis),
        "events": [asdict(event) for event in (grip.events if grip else ())],
        "comparison": [asdict(row) for row in analysis.verdict.comparison],
        "phases": [asdict(phase) for phase in analysis.verdict.phases],
        "curves": [asdict(row) for row in analysis.verdict.curves],
        "causes": [brief_cause(row) for row in analysis.verdict.causes],
        "causes_due": analysis.verdict.causes_due,
        "budget": budget,
        "practice": _practice(analysis),
        "disagreement": pull.disagreement if pull else (),
        "left_out": pull.left_out if pull else (),
        "footage_faults": [asdict(fault) for fault in analysis.faults],
        "notes": [asdict(note) for note in analysis.notes],
        "files": sorted(files),
    }
    return ResultFile.model_validate(content)


def describe_result_file() -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of ``result.json``."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **ResultFile.model_json_schema(mode="serialization"),
        "title": "matchvision result",
    }


def _clip(analysis: Analysis) -> dict[str, Any]:
    clip = analysis.clip
    return {
        "file": clip.path.name,
        "sha256": clip.sha256,
        "codec": clip.codec,
        "width_px": clip.width_px,
        "height_px": clip.height_px,
        "frame_rate_per_s": clip.frame_rate_per_s,
        "duration_s": clip.duration_s,
        "pictures": len(analysis.motion.frame),
    }


def _camera(analysis: Analysis) -> dict[str, Any]:
    view, cameras = analysis.table, analysis.cameras
    return {
        "source": view.source,
        "moves": cameras.moves,
        "points": len(view.points),
        "rms_px": view.rms_px,
        "fx_px": float(view.camera.parameters[0]),
        "u_fx_px": math.sqrt(max(0.0, float(view.camera.covariance[0, 0]))),
        "supported_ratio": float(np.mean(cameras.supported)) if len(cameras.supported) else 0.0,
    }


def _verdict(analysis: Analysis) -> dict[str, Any]:
    ruling = analysis.verdict.ruling
    if ruling is not None:
        return asdict(ruling)
    said = [note.sentence for note in analysis.notes if note.stage == "verdict"]
    unknown = dict.fromkeys(("margin_m", "u_margin_m", "share", "u_share", "decided_at_s"))
    return {"winner": None, **unknown, "sure": False, "sentence": said[-1] if said else "There is no verdict."}


def _practice(analysis: Analysis) -> dict[str, Any] | None:
    practice = analysis.practice
    if practice is None:
        return None
    numbers = []
    for parameter in practice.parameters:
        said = {k: v for k, v in vars(parameter).items() if k in PracticeNumber.model_fields}
        lines = [{k: v for k, v in vars(b).items() if k in PracticeLine.model_fields} for b in parameter.budget]
        numbers.append({**said, "key": ".".join(parameter.key), "budget": lines})
    return {"kind": practice.kind, "numbers": numbers, "missing": practice.missing, "warnings": practice.warnings}


def _forecast(analysis: Analysis) -> dict[str, Any] | None:
    forecast = analysis.forecast
    if forecast is None:
        return None
    return {
        "winner": forecast.winner,
        "win_chance": dict(forecast.win_chance),
        "margin_m": forecast.margin_m,
        "u_margin_m": forecast.u_margin_m,
        "samples": forecast.samples,
        "seed": forecast.seed,
        "left_out": forecast.left_out,
    }


def _stated(analysis: Analysis) -> dict[str, Any]:
    """What each team said; guesses about an unknown opponent or a load are nobody's forecast."""
    sheet = analysis.run.sheet
    teams = {n: f for n, f in sheet.forecast.items() if not (sheet.machine[n].unknown or sheet.machine[n].load)}
    return {
        name: {
            "win_chance": said.win_chance,
            "peak_pull_N": None if said.peak_pull_N is None else said.peak_pull_N.value,
            "u_peak_pull_N": None if said.peak_pull_N is None else said.peak_pull_N.u,
            "failure_named": said.failure_named,
        }
        for name, said in teams.items()
    }


def _peaks(analysis: Analysis) -> list[dict[str, Any]]:
    """Greatest pull by source, greatest speed and traction by machine, within the match."""
    peaks: list[dict[str, Any] | None] = []
    for source in analysis.pull.sources if analysis.pull else ():
        found = _peak(analysis, source.tension_N, source.u_tension_N)
        peaks.append(found and {"quantity": "tension", "unit": "N", "machine": "", "source": source.source, **found})
    for traction in analysis.pull.traction if analysis.pull else ():
        found = _peak(analysis, traction.traction_N, traction.u_traction_N)
        peaks.append(
            found and {"quantity": "traction", "unit": "N", "machine": traction.machine, "source": "", **found}
        )
    for name, machine in analysis.motion.machines.items():
        found = _peak(analysis, machine.speed_m_s, machine.u_speed_m_s)
        peaks.append(found and {"quantity": "speed", "unit": "m/s", "machine": name, "source": "", **found})
    return [peak for peak in peaks if peak]


def _peak(analysis: Analysis, values: npt.NDArray[np.float64], u: npt.NDArray[np.float64]) -> dict[str, Any] | None:
    t_s = analysis.clock.match_time(analysis.motion.clip_s)
    during = np.where((t_s >= 0) & (t_s <= analysis.clock.duration_s), values, np.nan)
    if not np.any(np.isfinite(during)):
        return None
    at = int(np.nanargmax(during))
    return {"value": float(values[at]), "u": float(u[at]), "at_s": float(t_s[at])}
