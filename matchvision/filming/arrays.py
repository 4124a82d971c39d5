"""Names for the arrays that filming hands about."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.floating[Any]]
Picture = NDArray[np.float32]  # rows, columns and often three channels
Flags = NDArray[np.bool_]
