"""Written results against a clip's exact truth: errors, and errors over stated uncertainties.

Every share is taken over what the truth holds: what was not written counts against the result. "z" is
rms(error / u): near 1 over many independent runs; on one clip the camera's error is common to all frames.
"""

import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pandas as pd

GROSS_M = 0.020
FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Score:
    """One figure: name, value and unit."""

    name: str
    value: float
    unit: str


@dataclass(frozen=True, eq=False)
class Truth:
    """A clip's truth table, up to the end of the match, and its facts."""

    rows: pd.DataFrame
    machines: dict[str, str]
    start_clip_s: float
    end_clip_s: float
    slip_clip_s: dict[str, list[list[float]]]
    winner: str | None
    margin_m: float


def read_truth(clip: Path) -> Truth:
    """Truth of a sample or filmed clip's folder."""
    facts = json.loads((clip / "truth.json").read_text())
    end = facts["time"]["match_end_clip_s"]
    rows = pd.read_csv(clip / "truth.csv")
    verdict = facts["verdict"]
    return Truth(
        rows=rows[rows["pts_s"] <= end + 1e-6],
        machines={name: machine["side"] for name, machine in facts["machines"].items()},
        start_clip_s=facts["time"]["match_start_clip_s"],
        end_clip_s=end,
        slip_clip_s=facts["events"].get("slip_intervals_s", {}),
        winner=verdict.get("winner"),
        margin_m=float(verdict.get("margin_mm") or "nan") / 1000,
    )


def rms(values: FloatArray) -> float:
    """Root mean square of the finite values."""
    finite = values[np.isfinite(values)]
    return float(np.sqrt(np.mean(finite**2))) if finite.size else float("nan")


def beside(table: pd.DataFrame, truth: Truth) -> pd.DataFrame:
    """Rows of a results table with the truth of the same picture joined to them (clip times agree to 1 ms)."""
    true_s = truth.rows["pts_s"].to_numpy()
    mine_s = table["clip_s"].to_numpy()
    nearest = np.abs(mine_s[:, None] - true_s[None, :]).argmin(axis=1) if len(mine_s) else np.zeros(0, dtype=np.int64)
    fits = np.abs(mine_s - true_s[nearest]) < 1e-3
    there: pd.DataFrame = truth.rows.iloc[nearest[fits]].add_prefix("true_").reset_index(drop=True)
    return pd.DataFrame(pd.concat([table[fits].reset_index(drop=True), there], axis=1))


def score_tracks(table: pd.DataFrame, truth: Truth) -> list[Score]:
    """Share of the visible marker-frames that were seen, their error on the table, and how many are wrong."""
    rows = beside(table, truth)
    visible = int((truth.rows.filter(regex="_vis$") == 1).to_numpy().sum())
    errors, ratios, wrong, seen = [], [], 0, 0
    for marker, part in rows.groupby("marker"):
        column = "true_" + str(marker).replace(".", "_")
        use = part[(part[f"{column}_vis"] == 1) & (part["state"] == "seen") & part["x_m"].notna()]
        error = use[["x_m", "y_m"]].to_numpy() - use[[f"{column}_x", f"{column}_y"]].to_numpy()
        good = np.hypot(error[:, 0], error[:, 1]) <= GROSS_M
        seen += len(use)
        wrong += int((~good).sum())
        errors.append(np.hypot(error[:, 0], error[:, 1])[good])
        ratios.append((error / use[["u_x_m", "u_y_m"]].to_numpy())[good].ravel())
    return [
        Score("tracks seen", seen / max(visible, 1), "ratio"),
        Score("tracks wrong", wrong / max(seen, 1), "ratio"),
        Score("tracks rms", 1000 * rms(np.concatenate(errors)), "mm"),
        Score("tracks z", rms(np.concatenate(ratios)), "1"),
    ]


def score_motion(table: pd.DataFrame, tracks: pd.DataFrame, truth: Truth) -> list[Score]:
    """Machine speed and position, and the speed beside a central difference of the same tracks."""
    rows = beside(table, truth)
    speed, ratio, place, plain = [], [], [], []
    for machine, part in rows.groupby("machine"):
        sign = -1.0 if truth.machines[str(machine)] == "-x" else 1.0
        true_speed = sign * part[f"true_{machine}_vx"].to_numpy()
        error = part["speed_m_s"].to_numpy() - true_speed
        speed.append(error)
        ratio.append(error / part["u_speed_m_s"].to_numpy())
        there = part[[f"true_{machine}_pos_x", f"true_{machine}_pos_y"]].to_numpy()
        place.append(np.linalg.norm(part[["x_m", "y_m"]].to_numpy() - there, axis=1))
        plain.append(central_difference(tracks, str(machine), sign, part["clip_s"].to_numpy()) - true_speed)
    return [
        Score("speed rms", 1000 * rms(np.concatenate(speed)), "mm/s"),
        Score("speed rms over central difference", rms(np.concatenate(speed)) / rms(np.concatenate(plain)), "ratio"),
        Score("speed z", rms(np.concatenate(ratio)), "1"),
        Score("place rms", 1000 * rms(np.concatenate(place)), "mm"),
    ]


def central_difference(tracks: pd.DataFrame, machine: str, sign: float, clip_s: FloatArray) -> FloatArray:
    """What differencing neighbouring frames would give: mean x of the machine's two discs, (x₊ − x₋) / (t₊ − t₋)."""
    discs = tracks[tracks["marker"].isin([f"{machine}.front", f"{machine}.rear"])]
    mean_x = discs.groupby("clip_s")["x_m"].agg(lambda x: x.mean(skipna=False))
    difference = sign * np.gradient(mean_x.to_numpy(), mean_x.index.to_numpy())
    return np.asarray(np.interp(clip_s, mean_x.index.to_numpy(), difference), dtype=np.float64)


def score_rope(table: pd.DataFrame, truth: Truth) -> list[Score]:
    """Rope on the +x side over the match, and at its end."""
    rows = beside(table, truth)
    error = (rows["on_plus_x_m"] - rows["true_rope_plus_x_m"]).to_numpy()
    near_end = (rows["clip_s"] - truth.end_clip_s).abs().to_numpy() <= 0.1
    return [
        Score("rope rms", 1000 * rms(error), "mm"),
        Score("rope error at the end", 1000 * float(np.nanmean(error[near_end])), "mm"),
        Score("rope z", rms(error / rows["u_on_plus_x_m"].to_numpy()), "1"),
    ]


def score_pull(table: pd.DataFrame, truth: Truth) -> list[Score]:
    """Each source's tension against the frame's mean tension, relative to the greatest."""
    rows = beside(table[table["clip_s"] >= truth.start_clip_s], truth)
    peak_N = float(truth.rows["tension_mean_N"].max())
    scores = []
    for source, part in rows.groupby("source"):
        error = (part["tension_N"] - part["true_tension_mean_N"]).to_numpy()
        scores += [
            Score(f"pull {source} rms over peak", rms(error) / peak_N, "ratio"),
            Score(f"pull {source} z", rms(error / part["u_tension_N"].to_numpy()), "1"),
        ]
    return scores


def score_wheels(table: pd.DataFrame, truth: Truth) -> list[Score]:
    """Wheel rate relative to its greatest, in all and away from jumps, and slip speed."""
    scores = []
    for machine, part in beside(table, truth).groupby("machine"):
        rate = part[f"true_{machine}_wheel_w"].to_numpy()
        off = (part["rate_rad_s"].to_numpy() - rate) / np.abs(rate).max()
        calm = away_from_jumps(part["clip_s"].to_numpy(), rate)
        slip = (part["slip_speed_m_s"] - part[f"true_{machine}_slip"]).to_numpy()
        scores += [
            Score(f"{machine} wheel rate rms", rms(off), "ratio"),
            Score(f"{machine} wheel rate rms away from jumps", rms(off[calm]), "ratio"),
            Score(f"{machine} frames away from jumps", float(calm.mean()), "ratio"),
            Score(f"{machine} slip speed rms", 1000 * rms(slip), "mm/s"),
            Score(f"{machine} slip speed z", rms(slip / part["u_slip_speed_m_s"].to_numpy()), "1"),
        ]
    return scores


def away_from_jumps(clip_s: FloatArray, rate: FloatArray) -> npt.NDArray[np.bool_]:
    """Frames further than 0.1 s from any jump of the true rate: more than 5 % of its maximum from frame to frame.

    A wheel that slips on simulated contact sticks and lets go many times a second; each time its rate jumps so.
    """
    calm = np.ones(len(rate), dtype=np.bool_)
    for n in np.flatnonzero(np.abs(np.diff(rate)) > 0.05 * np.abs(rate).max()):
        calm &= (clip_s < clip_s[n] - 0.1) | (clip_s > clip_s[n + 1] + 0.1)
    return calm


def score_events(table: pd.DataFrame, truth: Truth) -> list[Score]:
    """Overlap (intersection over union) of the slip intervals with the true ones."""
    scores = []
    grid = np.arange(truth.start_clip_s, truth.end_clip_s, 0.002)
    for machine, intervals in truth.slip_clip_s.items():
        found = table[(table["machine"] == machine) & table["kind"].isin(["slip", "spin", "dragged"])]
        mine = found[["start_s", "end_s"]].to_numpy(dtype=float) + truth.start_clip_s
        a, b = inside(grid, np.array(intervals, dtype=float).reshape(-1, 2)), inside(grid, mine)
        either = int((a | b).sum())
        scores.append(Score(f"{machine} slip overlap", float((a & b).sum() / either) if either else 1.0, "ratio"))
    return scores


def inside(grid: FloatArray, intervals: FloatArray) -> npt.NDArray[np.bool_]:
    """Which grid times lie inside any of the (k, 2) intervals; an interval without an end goes on."""
    ends = np.where(np.isnan(intervals[:, 1]), np.inf, intervals[:, 1])
    return np.asarray(((grid[:, None] >= intervals[:, 0]) & (grid[:, None] <= ends)).any(axis=1), dtype=np.bool_)


def score_verdict(result: dict[str, object], truth: Truth) -> list[Score]:
    """Winner, and the margin's error beside its stated uncertainty."""
    verdict, run = result["verdict"], result["run"]
    if not isinstance(verdict, dict) or not isinstance(run, dict) or run["kind"] != "match":
        return []  # a load run has no winner
    margin_m, u_margin_m = (float(verdict[k] if verdict[k] is not None else "nan") for k in ("margin_m", "u_margin_m"))
    return [
        Score("winner right", float(verdict["winner"] == truth.winner), "1"),
        Score("margin error", 1000 * (margin_m - truth.margin_m), "mm"),
        Score("margin U95", 1000 * 1.96 * u_margin_m, "mm"),
    ]


def score_results(results: Path, clip: Path) -> list[Score]:
    """All figures for one results folder; a table that was not written is left out."""
    truth = read_truth(clip)
    tables = {path.stem: pd.read_csv(path) for path in results.glob("*.csv")}
    scores = score_tracks(tables["tracks"], truth)
    if "motion" in tables:
        scores += score_motion(tables["motion"], tables["tracks"], truth)
    for name, scorer in (
        ("rope", score_rope),
        ("pull", score_pull),
        ("wheels", score_wheels),
        ("events", score_events),
    ):
        if name in tables and len(tables[name]):
            scores += scorer(tables[name], truth)
    return scores + score_verdict(json.loads((results / "result.json").read_text()), truth)
