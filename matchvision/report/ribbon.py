"""The grip ribbon of the marked clip: along its lower edge, over the match's time, how each machine's wheels held."""

from typing import Final

import numpy as np
import numpy.typing as npt

from matchvision.records.results import Analysis
from matchvision.report.canvas import INK, WHITE, Canvas, Colour
from matchvision.report.palette import rgb
from matchvision.report.readings import match_times, side_role

#: States of a wheel, the one that tells most first: of a machine's wheels that one is shown.
SEVEREST: Final = ("spinning", "slipping", "dragged", "locked", "held", "gripping", "")
#: Wheels that do not hold; bright on any side's colour, and light on a grey print.
LOOSE: Final[Colour] = (250, 206, 46)
UNKNOWN: Final[Colour] = (120, 124, 126)
#: Height of a machine's row, and of the dark edge about the ribbon, at 720 rows [px].
ROW_PX, EDGE_PX = 13.0, 2.0


class Ribbon:
    """Drawn once, then laid on every picture with a mark at its moment.

    A row for each machine whose wheels were judged: its side's colour while they grip, dark while held or locked,
    yellow while they slip or spin, yellow and dark in turn while the machine is dragged, grey where it is not known.
    """

    def __init__(self, analysis: Analysis, canvas: Canvas, scale: float) -> None:
        rows = machine_states(analysis)
        self.height_px = 0
        if not rows:
            return
        edge = max(2, 2 * round(EDGE_PX * scale / 2))
        row = max(4, 2 * round(ROW_PX * scale / 2))
        self.height_px = len(rows) * (row + edge) + edge
        self._duration_s, self._width = analysis.clock.duration_s, canvas.width_px
        sheet = Canvas(
            canvas.width_px,
            self.height_px,
            canvas.matrix,
            full_range=canvas.full_range,
            transfer=canvas.transfer,
        )
        sheet.plate(0, 0, canvas.width_px, self.height_px, INK, 1.0)
        t_s = match_times(analysis)
        columns_s = (np.arange(canvas.width_px // 2) + 0.5) / (canvas.width_px // 2) * self._duration_s
        nearest = np.clip(np.searchsorted(t_s, columns_s), 0, len(t_s) - 1)
        for number, (machine, states) in enumerate(rows.items()):
            top = edge + number * (row + edge)
            shown = states[nearest]
            for left, right in _stretches(shown):
                state = str(shown[left])
                colour = colour_of(state, rgb(side_role(analysis, machine)))
                sheet.plate(2 * left, top, 2 * right, top + row, colour, 1.0)
                if state == "dragged":
                    for at in range(left + 2, right, 6):
                        sheet.plate(2 * at, top, 2 * min(at + 3, right), top + row, INK, 1.0)
        self._sheet = sheet

    def lay(self, canvas: Canvas, t_s: float) -> None:
        """Put it on the picture's lower edge, with a mark at this match time."""
        if not self.height_px:
            return
        for target, source in (
            (canvas.luma, self._sheet.luma), (canvas.blue, self._sheet.blue), (canvas.red, self._sheet.red),
        ):  # fmt: skip
            np.copyto(target[-source.shape[0] :], source)
        col = self._width * float(np.clip(t_s / self._duration_s, 0.0, 1.0))
        top = canvas.height_px - self.height_px
        wide = max(2.0, self.height_px / 7)
        canvas.plate(col - 2 * wide, top, col + 2 * wide, canvas.height_px, INK, 1.0)
        canvas.plate(col - wide, top, col + wide, canvas.height_px, WHITE, 1.0)


def machine_states(analysis: Analysis) -> dict[str, npt.NDArray[np.str_]]:
    """The severest state of each machine's wheels in each frame, for machines of which any is known."""
    if analysis.grip is None:
        return {}
    order = {state: number for number, state in enumerate(SEVEREST)}
    found = {}
    for machine in analysis.run.sheet.machine:
        wheels = [states for (name, _), states in analysis.grip.grip_state.items() if name == machine]
        if not any(any(states) for states in wheels):
            continue
        ranks = np.array([[order.get(state, len(order) - 1) for state in states] for states in wheels])
        found[machine] = np.array(SEVEREST)[ranks.min(axis=0)]
    return dict(sorted(found.items(), key=lambda one: side_role(analysis, one[0])))


def colour_of(state: str, side: Colour) -> Colour:
    """A state's colour; ``side`` is that of the machine's home side."""
    if state in ("spinning", "slipping", "dragged"):
        return LOOSE
    if state in ("held", "locked"):
        return (side[0] // 2, side[1] // 2, side[2] // 2)
    return side if state == "gripping" else UNKNOWN


def _stretches(states: npt.NDArray[np.str_]) -> list[tuple[int, int]]:
    """First and one past the last column of each run of one state."""
    ends = np.flatnonzero(states[1:] != states[:-1]) + 1
    return list(zip([0, *ends.tolist()], [*ends.tolist(), len(states)], strict=True))
