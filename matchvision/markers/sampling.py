"""The samples of a plane round a marker, as compiled code gathers them for the fit of discs.

Samples of a window lie one after the other, row by row: level, whether they count (1 or 0), and place in luma pixels.
"""

import math
from typing import Any

from matchvision.compiling import compile_kept
from matchvision.markers.kernels import FAST


def _frame_window(low: Any, high: Any, start: Any, stride: Any, length: Any, widest: Any) -> Any:  # noqa: ANN401
    """First and last sample of a line of ``length`` from pixel ``low`` to ``high``, at most so many."""
    first = max(0, math.ceil((low - start) / stride))
    return first, min(length - 1, math.floor((high - start) / stride), first + widest - 1)


def _gather_chroma(
    blue: Any, red: Any, siting: Any, window: Any, neutral: Any, direction: Any, whole: Any, samples: Any,  # noqa: ANN401
) -> Any:  # fmt: skip # noqa: ANN401
    """Chroma along the marker's colour, less the neutral; samples of another colour belong to a neighbour."""
    first_i, last_i, first_j, last_j = window
    values, valid, xs, ys = samples[0], samples[1], samples[2], samples[3]
    n = 0
    for i in range(first_i, last_i + 1):
        for j in range(first_j, last_j + 1):
            off_blue = blue[i, j] - neutral[0]
            off_red = red[i, j] - neutral[1]
            value = off_blue * direction[0] + off_red * direction[1]
            across = off_blue * direction[1] - off_red * direction[0]
            alien = value < -0.25 * whole or abs(across) > 0.35 * whole + 0.5 * abs(value)
            values[n], valid[n] = value, 0.0 if alien else 1.0
            xs[n], ys[n] = j * siting[0] + siting[2], i * siting[1] + siting[3]
            n += 1
    return n


def _gather_luma(luma: Any, window: Any, samples: Any) -> Any:  # noqa: ANN401
    """Luma, every sample of it."""
    first_i, last_i, first_j, last_j = window
    values, valid, xs, ys = samples[0], samples[1], samples[2], samples[3]
    n = 0
    for i in range(first_i, last_i + 1):
        for j in range(first_j, last_j + 1):
            values[n], valid[n] = luma[i, j], 1.0
            xs[n], ys[n] = j, i
            n += 1
    return n


frame_window = compile_kept(_frame_window, **FAST)
gather_chroma = compile_kept(_gather_chroma, **FAST)
gather_luma = compile_kept(_gather_luma, **FAST)
