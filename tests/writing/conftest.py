"""A small whole analysis with gaps in it, made by hand: five pictures, two machines, one wheel, a rope."""

from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

from matchvision.records.camera import CalibrationPoint, Camera, Cameras, TableView
from matchvision.records.events import Event, Grip
from matchvision.records.forecast import ForecastRun
from matchvision.records.frames import ClipFacts, FootageFault
from matchvision.records.motion import MachineMotion, MatchClock, Motion, Places, RopeMotion, WheelMotion
from matchvision.records.pull import BudgetLine, Pull, PullSource, Traction
from matchvision.records.results import Analysis, CauseRow, ComparisonRow, Ruling, StageNote, Verdict
from matchvision.records.sheet import Run, RunSheet
from matchvision.records.tracks import MarkerPlan, Tracks, TrackState

FRAMES = 5
MARKERS = ("bead_01", "heron.front", "heron.wheel_1")
NAN = float("nan")
FloatArray = npt.NDArray[np.float64]


def _ramp(start: float, step: float) -> FloatArray:
    return start + step * np.arange(FRAMES, dtype=np.float64)


def _grid(start: float, step: float) -> FloatArray:
    return start + step * np.arange(FRAMES * len(MARKERS), dtype=np.float64).reshape(FRAMES, len(MARKERS))


def _machine(name: str, sign: float) -> MachineMotion:
    u = np.full(FRAMES, 0.000123456)
    return MachineMotion(
        name, _ramp(sign * 0.7, sign / 3), _ramp(0.01, 0), _ramp(0.1, 0.01), _ramp(0, 0.1), _ramp(90 + sign * 90, 0.3),
        u, u, u, u, u,
    )  # fmt: skip


def _wheel() -> WheelMotion:
    ratio = np.array([NAN, 0.1, 0.2, NAN, 0.3])
    return WheelMotion(
        "heron", "front left", 0.045, True, _ramp(0, 1), _ramp(2, 0), _ramp(0.09, 0), _ramp(0.01, 0.01), ratio,
        _ramp(0.01, 0), _ramp(0.1, 0), _ramp(0.01, 0), _ramp(0.002, 0), ratio / 10,
    )  # fmt: skip


def _rope() -> RopeMotion:
    pair = np.zeros((FRAMES, 2))
    one = np.ones(FRAMES)
    return RopeMotion(
        _ramp(0.5, 0.05), _ramp(0.5, -0.05), 0.001 * one, 0.001 * one, _ramp(-0.1, 0), 0.001 * one,
        np.array([1.0, 0.0, 0.0, NAN, 0.0]), one, one, NAN * one, NAN * one, 0.0, pair, pair, pair, one, 0.001 * one,
    )  # fmt: skip


@pytest.fixture
def run(tmp_path: Path) -> Run:
    folder = tmp_path / "run"
    folder.mkdir()
    sheet = RunSheet.model_validate(
        {
            "run": {"name": "practice", "clip": folder / "clip.mp4"},
            "clock": {"start_s": 0.1, "duration_s": 0.25},
            "table": {"length_m": 2, "width_m": 1},
        }
    )
    return Run(sheet=sheet, folder=folder)


@pytest.fixture
def analysis(run: Run) -> Analysis:
    frame = np.arange(FRAMES, dtype=np.int64)
    clip_s = _ramp(0, 0.1)
    state = np.full((FRAMES, len(MARKERS)), TrackState.SEEN, dtype=np.int8)
    state[2, 1] = TrackState.LOST
    col_px = _grid(100, 1 / 3)
    col_px[2, 1] = NAN
    plans = tuple(MarkerPlan(name, "body", "red", 0.01) for name in MARKERS)
    tracks = Tracks(plans, frame, clip_s, col_px, _grid(200, 0.7), _grid(0.1, 0), _grid(0.1, 0), state)
    places = Places(_grid(-1, 0.1), _grid(0, 0.01), _grid(0.12, 0), _grid(0.0005, 0), _grid(0.0005, 0))
    motion = Motion(
        frame, clip_s, clip_s, tracks, places,
        {"heron": _machine("heron", -1.0), "plover": _machine("plover", 1.0)}, (_wheel(),), _rope(),
    )  # fmt: skip
    tension = np.array([50.0, 10.0, 20.0, 15.0, NAN])  # the greatest lies before the start
    link = PullSource(
        "link",
        tension,
        0 * tension + 0.5,
        0 * tension + 0.3,
        True,
        (BudgetLine("reading", 0.4, "N", False, 0.08, 0.0008, "m", 500.0),),
    )
    pull = Pull(
        (link,), (Traction("heron", tension, tension + 5, tension / 30, tension / 50, tension / 60, tension / 900),),
        (), ("stretch: give the cord's stiffness",),
    )  # fmt: skip
    grip = Grip(
        (Event("slip", "heron", 0.1, NAN, 0.02, 0.97, 'slip speed 0.05 m/s, "sudden", for 0.2 s'),),
        {("heron", "front left"): ("gripping", "slipping", "slipping", "", "gripping")},
    )
    one = np.ones(1)
    forecast = ForecastRun(one, {}, one, one, one, one, "heron", {"heron": 0.8}, 0.1, NAN, 200, 1)
    parameters = np.array([900.0, *np.zeros(14)])
    covariance = np.diag([4.0, *np.zeros(14)])
    point = CalibrationPoint("tag 0", 0, 0, 0, 1, 2, 0.1, 0.1, 0.2)
    verdict = Verdict(
        Ruling("heron", 0.123, 0.004, True, "heron has won by 0.123 m.", 0.62, 0.004, 0.25),
        (ComparisonRow("margin", "m", 0.1, 0.02, 0.123, 0.004, -0.023, 0.02, -0.56, "yes"),),
        (CauseRow("as-predicted", "", 0.9, NAN, NAN, "", NAN, "Everything went as predicted."),),
    )
    return Analysis(
        run=run,
        clip=ClipFacts(
            run.clip, "ab" * 32, "h264", "yuv420p", 1280, 720, 0, False, 10.0, 0.5, "bt709", False, "bt709"
        ),
        faults=(FootageFault("dark", "markers are noisy", "switch on the light"),),
        clock=MatchClock(0.1, 0.25),
        table=TableView(Camera(1280, 720, parameters, covariance), (point,), "tags", 0.1),
        cameras=Cameras(1280, 720, False, frame[:1], parameters[None], covariance[None], np.ones(1, dtype=np.bool_)),
        motion=motion,
        pull=pull,
        grip=grip,
        forecast=forecast,
        verdict=verdict,
        notes=(StageNote("footage", "done", "Read 5 pictures."), StageNote("verdict", "done", "heron has won.")),
    )  # fmt: skip
