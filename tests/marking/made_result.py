"""Results in brief, made by hand, so that marks can be checked number by number."""

from collections.abc import Mapping, Sequence
from typing import Any

from matchvision.writing.resultfile import ResultFile

HERON: Mapping[str, Any] = {
    "win_chance": 0.8, "peak_pull_N": 20.0, "u_peak_pull_N": 1.0, "failure_named": "less-grip",
}  # fmt: skip


def row(
    quantity: str, unit: str, predicted: tuple[float, float], measured: tuple[float, float], within: str = "yes"
) -> dict[str, Any]:
    """A row of the comparison."""
    error = predicted[0] - measured[0]
    u_validation = (predicted[1] ** 2 + measured[1] ** 2) ** 0.5
    return {
        "quantity": quantity, "unit": unit, "predicted": predicted[0], "u_predicted": predicted[1],
        "measured": measured[0], "u_measured": measured[1], "error": error, "u_validation": u_validation,
        "en": error / (2 * u_validation) if u_validation else None, "within": within,
        "machine": next((name for name in ("heron", "plover") if quantity.endswith(name)), ""),
    }  # fmt: skip


ROWS = (
    row("distance towards home, heron", "m", (0.30, 0.02), (0.32, 0.001)),
    row("mean speed towards home, heron", "m/s", (0.03, 0.002), (0.032, 0.0001)),
    row("distance towards home, plover", "m", (-0.10, 0.02), (-0.32, 0.001), "no"),
    row("peak pull", "N", (19.0, 0.8), (18.0, 0.2)),
    row("chance to win, heron", "1", (0.7, 0.0), (1.0, 0.0), "inconclusive"),
    row("peak pull, as stated by heron", "N", (20.0, 1.0), (18.0, 0.2)),
)


def make_result(
    *,
    rows: Sequence[Mapping[str, Any]] = ROWS,
    stated: Mapping[str, Mapping[str, Any]] | None = None,
    winner: str | None = "heron",
    margin_m: float | None = 0.1,
    won: Mapping[str, float] | None = None,
    causes: Sequence[tuple[str, str, float]] = (("less-grip", "heron", 0.7), ("as-predicted", "", 0.3)),
    events: Sequence[tuple[str, str, float]] = (),
    peaks: Sequence[tuple[str, str, float]] = (),
    forecast: bool = True,
    causes_due: bool = False,
) -> ResultFile:
    """A result in brief: heron has won by 100 ± 2 mm (k = 1) unless told otherwise.

    ``won`` is how surely each machine has won; without it the verdict does not tell, as in results from before it did.
    """
    told: dict[str, Any] = {}
    if won is not None:
        nobody = max(0.0, 1.0 - sum(won.values()))
        told["winning"] = {"by_machine": won, "nobody": nobody, "lead_m": 0.0, "u_lead_m": 0.002}
        told["sure"] = max(nobody, *won.values()) >= 0.975
    content = {
        "software": {"version": "0"},
        "run": {"name": "made", "kind": "match"},
        "clip": {
            "file": "clip.mp4", "sha256": "0" * 64, "codec": "h264", "width_px": 1, "height_px": 1,
            "frame_rate_per_s": 30.0, "duration_s": 10.0, "pictures": 300,
        },
        "clock": {
            "start_clip_s": 0.0, "u_start_s": 0.0, "duration_s": 10.0, "real_per_clip_ratio": 1.0, "source": "sheet",
        },
        "camera": {
            "source": "tags", "moves": False, "points": 4, "rms_px": 0.1, "fx_px": 900.0, "u_fx_px": 1.0,
            "supported_ratio": 1.0,
        },
        "verdict": {
            "winner": winner, "margin_m": margin_m, "u_margin_m": 0.002, "sure": True, "share": 0.6, "u_share": 0.001,
            "decided_at_s": 10.0, "sentence": "", **told,
        },
        "forecast": {
            "winner": "heron", "win_chance": {"heron": 0.7, "plover": 0.3}, "margin_m": 0.1, "u_margin_m": 0.05,
            "samples": 256, "seed": 1, "left_out": (),
        } if forecast else None,
        "stated": {"heron": HERON} if stated is None else stated,
        "peaks": [
            {"quantity": q, "unit": "", "machine": m, "source": "", "value": v, "u": 0.1, "at_s": 1.0}
            for q, m, v in peaks
        ],
        "causes_due": causes_due,
        "events": [
            {"kind": k, "machine": m, "start_s": 2.0, "end_s": None, "u_start_s": 0.1, "probability": p, "evidence": ""}
            for k, m, p in events
        ],
        "comparison": rows,
        "causes": [
            {
                "cause": c, "machine": m, "probability": p, "estimate": None, "u_estimate": None, "unit": "",
                "since_s": None, "statement": "",
            }
            for c, m, p in causes
        ],
        "budget": (), "disagreement": (), "left_out": (), "footage_faults": (), "notes": (), "files": (),
    }  # fmt: skip
    return ResultFile.model_validate(content)
