"""The form of ``result.json``: a checked model that also gives its schema. `summary` fills it."""

import math
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from matchvision.records.results import CauseRow


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


class ContradictionBrief(ResultModel):
    """The footage shows otherwise than ``key`` of the sheet says; ``covered`` where the uncertainties hold it."""

    key: str
    shown: str
    do: str
    off_px: MaybeNumber
    covered: bool


class WinningBrief(ResultModel):
    """How surely each machine has won as measured, and that nobody has: together 1.

    ``lead_m`` is how far the rope, or the mark, lies from where the rule would have it otherwise.
    """

    by_machine: dict[str, float]
    nobody: float
    lead_m: MaybeNumber
    u_lead_m: MaybeNumber


class VerdictBrief(ResultModel):
    """Who has won: ``margin_m`` is the winner's rope beyond the share to win, ``sure`` whether it is so by 97.5 %.

    ``doubts`` are contradictions of the sheet: by them the margin may be off by ``shift_m`` beyond its uncertainty,
    null where nothing says how far. ``sure`` is false where that may turn the ruling. ``winning`` is null where nothing
    tells how surely who has won, and in results written before it was told.
    """

    winner: str | None
    margin_m: MaybeNumber
    u_margin_m: MaybeNumber
    sure: bool
    share: MaybeNumber
    u_share: MaybeNumber
    decided_at_s: MaybeNumber
    sentence: str
    doubts: tuple[ContradictionBrief, ...] = ()
    shift_m: MaybeNumber = 0.0
    winning: WinningBrief | None = None


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
    contradictions: tuple[ContradictionBrief, ...] = ()


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


def describe_result_file() -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of ``result.json``."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **ResultFile.model_json_schema(mode="serialization"),
        "title": "matchvision result",
    }
