"""What people write about a run, as frozen, checked objects.

The types mirror the run sheet key by key (``docs/run-sheet.md`` lists them); ``matchvision.sheets`` reads the files
and turns what these types refuse into messages for people. Units stand in the names; SI throughout.
"""

from matchvision.records.sheet.machine import (
    Anchor,
    Blocker,
    Body,
    Brake,
    Drive,
    Forecast,
    Hitch,
    Load,
    Machine,
    MachineMarker,
    Reach,
    RimMarker,
    Stage,
    StartPose,
    Wheel,
)
from matchvision.records.sheet.rope import Bead, LinkMarker, LinkSheet, RopeSheet
from matchvision.records.sheet.run import ForecastCurve, HangTest, LensSheet, Run
from matchvision.records.sheet.table import CameraSheet, Colour, TablePoint, TableSheet, Tag
from matchvision.records.sheet.whole import ClockSheet, PracticeSheet, Rules, RunInfo, RunSheet
from matchvision.records.values import Quantity

__all__ = [
    "Anchor",
    "Bead",
    "Blocker",
    "Body",
    "Brake",
    "CameraSheet",
    "ClockSheet",
    "Colour",
    "Drive",
    "Forecast",
    "ForecastCurve",
    "HangTest",
    "Hitch",
    "LensSheet",
    "LinkMarker",
    "LinkSheet",
    "Load",
    "Machine",
    "MachineMarker",
    "PracticeSheet",
    "Quantity",
    "Reach",
    "RimMarker",
    "RopeSheet",
    "Rules",
    "Run",
    "RunInfo",
    "RunSheet",
    "Stage",
    "StartPose",
    "TablePoint",
    "TableSheet",
    "Tag",
    "Wheel",
]
