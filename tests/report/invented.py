"""An analysis made from a sample clip's truth and seeded noise, so that the report can be tested alone."""

import dataclasses
import math
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
from pydantic import BaseModel

from matchvision.geometry.camera import project_points
from matchvision.records.camera import CalibrationPoint, Camera, TableView
from matchvision.records.events import Event, Grip
from matchvision.records.forecast import ForecastMachine, ForecastRun
from matchvision.records.frames import ClipFacts, FootageFault
from matchvision.records.motion import MachineMotion, MatchClock, Motion, Places, RopeMotion, WheelMotion
from matchvision.records.pull import BudgetLine, Pull, PullSource, Traction
from matchvision.records.results import Analysis, CauseRow, ComparisonRow, Ruling, StageNote, Verdict
from matchvision.records.sheet import Run
from tests.truth import SAMPLE_CLIPS, read_run, read_truth, read_truth_facts, true_cameras, true_tracks

FloatArray = npt.NDArray[np.float64]


def invent_analysis(clip: str = "flat-match", seed: int = 7) -> Analysis:
    """The whole answer about a sample clip as good stages would give it: truth, noise and stated uncertainty."""
    folder = SAMPLE_CLIPS / clip
    generator = np.random.default_rng(seed)
    run = read_run(folder)
    run = Run(run.sheet, folder, run.hang_test, sheet_texts={"run.toml": (folder / "run.toml").read_text()})
    truth, facts = read_truth(folder), read_truth_facts(folder)
    clock = MatchClock(facts["time"]["match_start_clip_s"], run.sheet.clock.duration_s)
    cameras = true_cameras(folder, run)
    motion = _motion(folder, run, truth, generator)
    t_s = clock.match_time(motion.clip_s)
    pull = _pull(run, truth, generator)
    grip = _grip(run, facts, clock)
    forecast = _forecast(run, truth, t_s)
    camera = Camera(cameras.width_px, cameras.height_px, cameras.parameters[0], cameras.covariance[0])
    return Analysis(
        run=run,
        clip=_clip_facts(run, motion.clip_s, camera),
        faults=(
            FootageFault(
                "the far wheel is hidden for a third of the run",
                "slip of plover is known only where its rim marks are in view",
                "raise the camera by half a metre",
            ),
        ),
        clock=clock,
        table=_view(run, camera),
        cameras=cameras,
        motion=motion,
        pull=pull,
        grip=grip,
        forecast=forecast,
        verdict=_verdict(run, motion, facts),
        notes=_notes(),
    )


def _clip_facts(run: Run, clip_s: FloatArray, camera: Camera) -> ClipFacts:
    return ClipFacts(
        path=run.clip,
        sha256="0f" * 32,
        codec="h264",
        pixel_format="yuv420p",
        width_px=camera.width_px,
        height_px=camera.height_px,
        rotation_deg=0,
        mirrored=False,
        frame_rate_per_s=(len(clip_s) - 1) / float(clip_s[-1]),
        duration_s=float(clip_s[-1]),
        matrix="bt709",
        full_range=False,
        transfer="",
    )


def _view(run: Run, camera: Camera) -> TableView:
    points = []
    for tag in run.sheet.table.tag:
        at = (*tag.centre_m, 0.0)
        col, row = project_points(camera.parameters, np.array(at))
        points.append(CalibrationPoint(f"tag {tag.id}", *at, float(col), float(row), 0.05, -0.04, 0.08))
    return TableView(camera, tuple(points), "tags, lens estimated", 0.07)


def _motion(folder: Path, run: Run, truth: pd.DataFrame, generator: np.random.Generator) -> Motion:
    tracks = true_tracks(folder, run, generator)
    count = len(truth)
    columns = [plan.name.replace(".", "_") for plan in tracks.plans]
    x, y, z = (np.stack([truth[f"{c}_{axis}"].to_numpy(float) for c in columns], axis=1) for axis in "xyz")
    u = np.full_like(x, 0.0008)
    machines, wheels = {}, []
    for name, machine in run.sheet.machine.items():
        sign = 1.0 if machine.home == "+x" else -1.0
        speed = sign * truth[f"{name}_vx"].to_numpy(float) + 0.001 * generator.standard_normal(count)
        machines[name] = MachineMotion(
            machine=name,
            x_m=truth[f"{name}_pos_x"].to_numpy(float),
            y_m=truth[f"{name}_pos_y"].to_numpy(float),
            speed_m_s=speed,
            accel_m_s2=np.gradient(speed, truth["pts_s"].to_numpy(float)),
            heading_deg=truth[f"{name}_heading_deg"].to_numpy(float),
            u_x_m=np.full(count, 0.0012),
            u_y_m=np.full(count, 0.0015),
            u_speed_m_s=np.full(count, 0.002),
            u_accel_m_s2=np.full(count, 0.04),
            u_heading_deg=np.full(count, 0.3),
        )
        if f"{name}_slip" in truth and machine.wheel:
            wheels.append(_wheel(name, machine.wheel[0].name, truth, generator))
    plus = truth["rope_plus_x_m"].to_numpy(float)
    total = truth["rope_total_m"].to_numpy(float)
    middle = truth["rope_mid_x"].to_numpy(float)
    clip_s = truth["pts_s"].to_numpy(float)
    nothing = np.full(count, math.nan)
    rope = RopeMotion(
        on_minus_x_m=total - plus,
        on_plus_x_m=plus,
        u_on_minus_x_m=np.full(count, 0.002),
        u_on_plus_x_m=np.full(count, 0.002),
        speed_m_s=np.gradient(middle, clip_s),
        u_speed_m_s=np.full(count, 0.002),
        slack=1.0 - truth["rope_taut"].to_numpy(float),
        crossing_arc_m=total - plus,
        span_m=total,
        link_length_m=nothing,
        u_link_length_m=nothing,
        u_link_common_ratio=0.0,
        pull_dir_x=np.stack([np.ones(count), -np.ones(count)], axis=1),
        pull_dir_y=np.zeros((count, 2)),
        pull_dir_z=np.zeros((count, 2)),
        total_m=total,
        u_total_m=np.full(count, 0.002),
    )
    places = Places(x, y, z, u, u.copy())
    return Motion(tracks.frame, tracks.clip_s, tracks.clip_s, tracks, places, machines, tuple(wheels), rope)


def _wheel(name: str, wheel: str, truth: pd.DataFrame, generator: np.random.Generator) -> WheelMotion:
    count = len(truth)
    surface = truth[f"{name}_surface_speed"].to_numpy(float)
    slip = truth[f"{name}_slip"].to_numpy(float) + 0.003 * generator.standard_normal(count)
    ratio = np.where(np.abs(surface) > 0.05, slip / np.where(surface == 0, 1, surface), math.nan)
    return WheelMotion(
        machine=name,
        wheel=wheel,
        radius_m=0.045,
        driven=True,
        angle_rad=truth[f"{name}_wheel_angle"].to_numpy(float),
        rate_rad_s=truth[f"{name}_wheel_w"].to_numpy(float),
        surface_speed_m_s=surface,
        slip_speed_m_s=slip,
        slip_ratio=ratio,
        u_angle_rad=np.full(count, 0.02),
        u_rate_rad_s=np.full(count, 0.08),
        u_surface_speed_m_s=np.full(count, 0.0036),
        u_slip_speed_m_s=np.full(count, 0.004),
        u_slip_ratio=np.full(count, 0.03),
    )


def _pull(run: Run, truth: pd.DataFrame, generator: np.random.Generator) -> Pull:
    count = len(truth)
    tension = truth["tension_mean_N"].to_numpy(float)

    def source(name: str, u_N: float, budget: Mapping[str, tuple[float, bool]]) -> PullSource:
        noisy = tension + u_N * generator.standard_normal(count) * 0.5 + u_N * 0.3
        lines = tuple(BudgetLine(n, u, "N", common) for n, (u, common) in budget.items())
        return PullSource(name, noisy, np.full(count, u_N), np.full(count, 0.7 * u_N), True, lines)

    first = "link" if run.sheet.rope is not None and run.sheet.rope.link is not None else "drive"
    sources = (
        source(
            first, 0.5, {"link length in the picture": (0.31, False), "hang test": (0.28, True), "scale": (0.22, True)}
        ),
        source("inertia", 1.1, {"mass": (0.1, True), "acceleration": (1.05, False)}),
        source(
            "fused", 0.4, {"link length in the picture": (0.26, False), "hang test": (0.24, True), "scale": (0.2, True)}
        ),
    )
    traction = []
    for name in run.sheet.machine:
        if f"{name}_wheel_w" not in truth:
            continue
        force, load = (truth[f"{name}_{c}"].to_numpy(float) for c in ("ground_force_N", "normal_N"))
        u = np.full(count, 0.5)
        traction.append(Traction(name, force, load, force / load, u, u, u / load))
    return Pull(
        sources,
        tuple(traction),
        (),
        ("stretch: the rope's stiffness is not in the sheet; stiffness_N_per_m would give it",),
    )


def _grip(run: Run, facts: Mapping[str, Any], clock: MatchClock) -> Grip:
    events = []
    start = clock.start_clip_s
    for name, at in facts["events"]["first_motion_s"].items():
        if at is not None:
            events.append(Event("first-motion", name, at - start, math.nan, 0.012, 1.0, f"{name} moved at 11 mm/s"))
    for name, spans in facts["events"]["slip_intervals_s"].items():
        for a, b in spans:
            text = f"wheel 142 mm/s faster than the ground, 31 ± 4 mm/s over {b - a:.2f} s"
            events.append(Event("slip", name, a - start, min(b - start, clock.duration_s), 0.03, 0.98, text))
    if facts["events"]["rope_release_s"] is not None:
        at = facts["events"]["rope_release_s"] - start
        events.append(
            Event("rope-off", "plover", at, math.nan, 0.02, 0.97, "the rope's end left the hitch, 45 mm apart")
        )
    if run.sheet.run.kind == "match" and events[-1].kind != "rope-off":
        events.append(
            Event("lead-change", "", 3.84, math.nan, 0.02, 0.95, "the middle of the rope crossed the centre line")
        )
    return Grip(tuple(sorted(events, key=lambda e: e.start_s)))


def _forecast(run: Run, truth: pd.DataFrame, t_s: FloatArray) -> ForecastRun:
    grid = np.arange(0.0, run.sheet.clock.duration_s + 1e-9, 0.05)

    def on_grid(column: str, scale: float = 1.0, late_s: float = 0.15) -> FloatArray:
        return np.asarray(np.interp(grid - late_s, t_s, truth[column].to_numpy(float)) * scale)

    machines = {}
    grown = 0.2 + 0.8 * grid / grid[-1]
    for name, machine in run.sheet.machine.items():
        if f"{name}_slip" not in truth:
            continue
        sign = 1.0 if machine.home == "+x" else -1.0
        machines[name] = ForecastMachine(
            machine=name,
            x_m=on_grid(f"{name}_pos_x"),
            y_m=on_grid(f"{name}_pos_y"),
            heading_deg=on_grid(f"{name}_heading_deg"),
            speed_m_s=sign * on_grid(f"{name}_vx", 1.1),
            slip_speed_m_s=on_grid(f"{name}_slip", 0.6),
            traction_N=on_grid(f"{name}_ground_force_N", 1.06),
            u_x_m=0.03 * grown,
            u_y_m=0.01 * grown,
            u_heading_deg=1.0 * grown,
            u_speed_m_s=0.012 * grown,
            u_slip_speed_m_s=0.03 * grown,
            u_traction_N=1.2 * grown,
            first_slip_s=3.4,
            u_first_slip_s=0.4,
            slip_chance=0.9,
        )
    is_match = run.sheet.run.kind == "match"
    return ForecastRun(
        t_s=grid,
        machines=machines,
        tension_N=on_grid("tension_mean_N", 1.06),
        u_tension_N=1.2 * grown,
        on_plus_x_m=on_grid("rope_plus_x_m"),
        u_on_plus_x_m=0.03 * grown,
        winner="heron" if is_match else "",
        win_chance={"heron": 0.62, "plover": 0.38} if is_match else {},
        margin_m=0.05 if is_match else math.nan,
        u_margin_m=0.06 if is_match else math.nan,
        samples=400,
        seed=11,
        left_out=("turning: the forecast states no left and right drives; [forecast.X.left] would give it",),
    )


def _verdict(run: Run, motion: Motion, facts: Mapping[str, Any]) -> Verdict:
    rows = (
        ComparisonRow("peak pull", "N", 19.4, 0.9, 18.2, 0.4, 1.2, 0.99, 0.61, "yes"),
        ComparisonRow("first slip of heron", "s", 3.40, 0.30, 2.887, 0.03, 0.513, 0.30, 0.85, "inconclusive"),
        ComparisonRow("rope on plover's side at the end", "m", 0.60, 0.02, 0.731, 0.002, -0.131, 0.0201, -3.26, "no"),
        ComparisonRow("top speed of heron", "m/s", 0.131, 0.009, 0.118, 0.002, 0.013, 0.0092, 0.71, "yes"),
    )
    causes = (
        CauseRow(
            "less-grip",
            "heron",
            0.91,
            0.78,
            0.02,
            "1",
            2.89,
            "heron's wheels found less grip than stated, 0.78 instead of 0.86",
        ),
        CauseRow("opponent-heavier", "plover", 0.06, 3.3, 0.2, "kg", math.nan, "plover weighs more than stated"),
        CauseRow("unexplained", "", 0.03, math.nan, math.nan, "", math.nan, "none of the explanations tried"),
    )
    if run.sheet.run.kind != "match":
        return Verdict(None, rows[:2], causes[:1])
    told = facts["verdict"]
    share = told["rope_plus_x_m"] / told["rope_total_m"]
    share = share if told["winner"] == "plover" else 1 - share
    margin = (share - 0.5) * told["rope_total_m"]
    sentence = (
        f"{told['winner']} wins with {100 * share:.1f} % of the rope on its side, {1000 * margin:.0f} mm beyond half"
    )
    ruling = Ruling(told["winner"], margin, 0.002, True, sentence, share, 0.0018, run.sheet.clock.duration_s)
    return Verdict(ruling, rows, causes)


def _notes() -> tuple[StageNote, ...]:
    return (
        StageNote("footage", "done", "598 frames over 9.97 s were read by their presentation times."),
        StageNote("table", "done", "The camera was fitted to 16 tag corners; rms residual 0.07 px."),
        StageNote("markers", "done", "22 markers were followed; 98.2 % of the places were seen, 1.1 % bridged."),
        StageNote("motion", "done", "Speeds come from a fixed-interval smoother with adaptive noise."),
        StageNote(
            "pull",
            "partly",
            "Pull was fused from two sources.",
            ("The sources differ by 1.1 N at 4.2 s.",),
            ("A sprung link would give pull to about 0.5 N.",),
        ),
        StageNote("grip", "done", "Slip was found with hysteresis at 30 mm/s."),
        StageNote("forecast", "done", "The run was predicted with 400 samples, seed 11."),
        StageNote("verdict", "done", "The rule rope-share 0.5 was applied at 8.00 s."),
    )


def change(value: Any, swap: Callable[[Any], Any]) -> Any:
    """The value with ``swap`` applied to every word and array in it, however deep."""
    if isinstance(value, str | np.ndarray):
        return swap(value)
    if isinstance(value, BaseModel):
        return type(value).model_validate(change(value.model_dump(), swap))
    if isinstance(value, Mapping):
        return {change(k, swap): change(v, swap) for k, v in value.items()}
    if isinstance(value, tuple):
        return tuple(change(v, swap) for v in value)
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        changed = {f.name: change(getattr(value, f.name), swap) for f in dataclasses.fields(value)}
        return dataclasses.replace(value, **changed)
    return value


def rename(analysis: Analysis, old: str, new: str) -> Analysis:
    """The same answer with another name everywhere."""
    renamed = change(analysis, lambda v: v.replace(old, new) if isinstance(v, str) else v)
    assert isinstance(renamed, Analysis)
    return renamed


def shorten(analysis: Analysis, first: int, stop: int) -> Analysis:
    """Only the frames from ``first`` to before ``stop``, the clip's zero kept."""
    count = len(analysis.motion.clip_s)

    def cut(value: Any) -> Any:
        return value[first:stop] if isinstance(value, np.ndarray) and value.shape[:1] == (count,) else value

    shortened = change(analysis, cut)
    assert isinstance(shortened, Analysis)
    return shortened
