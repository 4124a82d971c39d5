"""The whole answer in brief: an analysis as the content of ``result.json``."""

import math
from collections.abc import Iterable, Mapping
from dataclasses import asdict
from typing import Any

import numpy as np
import numpy.typing as npt

import matchvision
from matchvision.records.results import Analysis
from matchvision.writing.resultfile import PracticeLine, PracticeNumber, ResultFile, brief_cause


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
