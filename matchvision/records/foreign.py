"""What lay over the table that does not belong to it, on a coarse grid and a few times a second."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from matchvision.arrays import FloatArray


@dataclass(frozen=True, eq=False)
class ForeignLook:
    """Places on the table that look unlike themselves, k moments on a grid of r rows (y) by c columns (x).

    Attributes
    ----------
    clip_s : (k,) float array
    x_m : (c,) float array
    y_m : (r,) float array
    packed : (k, bytes) uint8 array
        Grid of each moment, row by row, eight places to a byte: 1 where something hides the table.
    packed_dim : (k, bytes) uint8 array
        The same for places that are clearly darker or brighter than usual, which a shadow may be as well.
    eye_m : (k, 3) float array
        Where the camera stood.
    """

    clip_s: FloatArray
    x_m: FloatArray
    y_m: FloatArray
    packed: npt.NDArray[np.uint8]
    packed_dim: npt.NDArray[np.uint8]
    eye_m: FloatArray

    def covered(self, moment: int) -> npt.NDArray[np.bool_]:
        """Grid (r, c) of what hides the table at one moment."""
        return self._grid(self.packed[moment])

    def changed(self, moment: int) -> npt.NDArray[np.bool_]:
        """Grid (r, c) of what hides or shades the table at one moment."""
        return self._grid(self.packed[moment] | self.packed_dim[moment])

    def _grid(self, packed: npt.NDArray[np.uint8]) -> npt.NDArray[np.bool_]:
        bits = np.unpackbits(packed, count=len(self.x_m) * len(self.y_m))
        return np.asarray(bits.reshape(len(self.y_m), len(self.x_m)), dtype=np.bool_)
