"""The picture of a predicted run: pull and speed over time with their bands, and what limits each machine when."""

from pathlib import Path
from typing import Final

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import Patch

from matchvision.arrays import FloatArray
from matchvision.records.forecast import LIMITS, ForecastRun
from matchvision.records.sheet import Run
from matchvision.report.palette import LIGHT
from matchvision.report.readings import COVERAGE
from matchvision.report.saving import save_figure, told_if_unwritable
from matchvision.report.style import FULL_WIDTH_IN, STYLE

#: Colour and hatch of each limit (told apart on a grey print too), and its words.
LIMIT_LOOKS: Final = {
    "grip": ("drive", "////", "grip (slides)"),
    "torque": ("link", "", "the drive's torque"),
    "held": ("inertia", "....", "held by base or brake"),
    "off": ("rule", "", "no drive"),
}


def draw_forecast(run: Run, forecast: ForecastRun, folder: Path) -> tuple[Path, ...]:
    """Draw the predicted run into ``folder`` as ``forecast.svg`` and ``forecast.png``; bands hold 95 % (k = 1.96).

    Raises
    ------
    OutputError
        Where the folder cannot be written.

    Notes
    -----
    Checked by: tests/report/test_forecastpicture.py::test_picture_names_units_and_limits
    """
    paths = tuple(folder / f"forecast.{ending}" for ending in ("svg", "png"))
    with told_if_unwritable("the picture", folder), mpl.rc_context(STYLE):
        folder.mkdir(parents=True, exist_ok=True)
        figure = figure_of_forecast(run, forecast)
        return tuple(save_figure(figure, path) for path in paths)


def figure_of_forecast(run: Run, forecast: ForecastRun) -> Figure:
    """Pull, speed and limits over the same match time, one under the other."""
    limited = [one for one in forecast.machines.values() if one.limits]
    strips_in = 0.5 + 0.28 * len(limited) if limited else 0.01
    figure = Figure(figsize=(FULL_WIDTH_IN, 4.3 + strips_in), layout="constrained")
    FigureCanvasAgg(figure)
    panels = figure.subplots(
        3 if limited else 2, 1, sharex=True, height_ratios=[2, 2, *([strips_in] if limited else [])]
    )
    pull, speed = panels[0], panels[1]
    band_of(pull, forecast.t_s, forecast.tension_N, forecast.u_tension_N, "fused", "pull")
    pull.set_ylabel("pull / N")
    pull.set_title(f"{run.sheet.run.name}, predicted: pull in the rope, 95 % bands")
    pull.set_ylim(bottom=0)
    for name, one in forecast.machines.items():
        role = "plus" if run.sheet.machine[name].home == "+x" else "minus"
        band_of(speed, forecast.t_s, 1000 * one.speed_m_s, 1000 * one.u_speed_m_s, role, name)
    speed.axhline(0, color=LIGHT["ink"], linewidth=0.8)
    speed.set_ylabel("speed / mm/s")
    speed.set_title("Speed of each machine towards its home, 95 % bands")
    speed.legend(loc="lower right", bbox_to_anchor=(1.0, 1.0), ncols=2)
    if limited:
        _draw_strips(panels[2], forecast)
        used = [word for word in LIMITS if any(one.limits[word].any() for one in limited)]
        looks = [LIMIT_LOOKS[word] for word in used]
        figure.legend(
            handles=[Patch(facecolor=LIGHT[c], hatch=h, edgecolor="white", label=text) for c, h, text in looks],
            loc="outside lower center",
            ncols=len(used),
        )
    panels[-1].set_xlabel("match time / s")
    panels[-1].set_xlim(float(forecast.t_s[0]), float(forecast.t_s[-1]))
    return figure


def band_of(axes: Axes, t_s: FloatArray, y: FloatArray, u: FloatArray, role: str, label: str) -> None:
    """A predicted curve, dashed, with its 95 % band; nothing where nothing is predicted."""
    if not np.isfinite(y).any():
        return
    half = COVERAGE * np.nan_to_num(u)
    axes.fill_between(t_s, y - half, y + half, color=LIGHT[role], alpha=0.15, linewidth=0)
    axes.plot(t_s, y, color=LIGHT[role], linestyle=(0, (5, 2)), linewidth=1.2, label=label)


def _draw_strips(axes: Axes, forecast: ForecastRun) -> None:
    """One strip a machine: each instant divided by the share of samples in which each limit holds."""
    names = [name for name, one in forecast.machines.items() if one.limits]
    for row, name in enumerate(reversed(names)):
        low = np.full(len(forecast.t_s), row - 0.4)
        for word in LIMITS:
            high = low + 0.8 * forecast.machines[name].limits[word]
            colour, hatch, _ = LIMIT_LOOKS[word]
            if (high > low).any():
                axes.fill_between(
                    forecast.t_s, low, high, step="mid", facecolor=LIGHT[colour], hatch=hatch, edgecolor="white",
                    linewidth=0,
                )  # fmt: skip
            low = high
    axes.set_yticks(range(len(names)), list(reversed(names)))
    axes.set_ylim(-0.5, len(names) - 0.5)
    axes.grid(visible=False)
    axes.set_title("What limits each machine; height: share of the sampled matches")
