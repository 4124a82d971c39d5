"""A predicted run as files and as JSON, before anything is filmed."""

from pathlib import Path
from typing import Any

import pandas as pd

from matchvision.errors import OutputError
from matchvision.records.forecast import LIMITS, ForecastRun
from matchvision.writing.documents import format_plain


def write_forecast_table(forecast: ForecastRun, folder: Path) -> Path:
    """Write ``forecast.csv`` with units in the column names; ``u_`` columns are standard uncertainties.

    Raises
    ------
    OutputError
        Where it cannot be written.
    """
    path = folder / "forecast.csv"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        forecast_table(forecast).to_csv(path, index=False, float_format="%.6g")
    except OSError as reason:
        what = f"the table cannot be written: {reason.strerror}"
        raise OutputError(what, where=str(path), do="choose another folder with --out") from reason
    return path


def forecast_table(forecast: ForecastRun) -> pd.DataFrame:
    """Pull, rope and each machine over match time, and the share of samples in which each limit holds."""
    columns = {"t_s": forecast.t_s}
    for name in ("tension_N", "u_tension_N", "on_plus_x_m", "u_on_plus_x_m"):
        columns[name] = getattr(forecast, name)
    for machine, one in forecast.machines.items():
        for name in ("x_m", "y_m", "heading_deg", "speed_m_s", "slip_speed_m_s", "traction_N"):
            columns[f"{machine}.{name}"] = getattr(one, name)
            columns[f"{machine}.u_{name}"] = getattr(one, f"u_{name}")
        for word in LIMITS:
            if word in one.limits:
                columns[f"{machine}.limit_{word}_ratio"] = one.limits[word]
    return pd.DataFrame(columns)


def describe_forecast(
    forecast: ForecastRun, chance_95: tuple[float, float] | None, assumed: tuple[str, ...], sentence: str
) -> str:
    """The predicted run as JSON: chances, where it ends, slip, and every column over match time.

    ``chance_95`` is the 95 % interval of the winner's chance from sampling alone.
    """
    ends = {
        name: {
            key: float(getattr(one, key)[-1])
            for quantity in ("x_m", "y_m", "heading_deg")
            for key in (quantity, f"u_{quantity}")
        }
        for name, one in forecast.machines.items()
    }
    slips = {
        name: {key: getattr(one, key) for key in ("slip_chance", "first_slip_s", "u_first_slip_s")}
        for name, one in forecast.machines.items()
    }
    content: dict[str, Any] = {
        "winner": forecast.winner or None,
        "win_chance": dict(forecast.win_chance),
        "winner_chance_sampling_95": None if chance_95 is None else list(chance_95),
        "margin_m": forecast.margin_m,
        "u_margin_m": forecast.u_margin_m,
        "ends": ends,
        "slip": slips,
        "samples": forecast.samples,
        "seed": forecast.seed,
        "assumed": list(assumed),
        "left_out": list(forecast.left_out),
        "note": sentence,
        "over_time": {str(name): column.tolist() for name, column in forecast_table(forecast).items()},
    }
    return format_plain(content)
