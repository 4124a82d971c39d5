"""Where a clip in high dynamic range puts a colour of the sheet: its primaries and its curve from light to code."""

from typing import Final

import numpy as np

from matchvision.arrays import FloatArray

#: From linear light in BT.709's (and sRGB's) primaries to BT.2020's: ITU-R BT.2087-0, table of M2.
_WIDE_FROM_NARROW: Final = np.array(
    [[0.6274, 0.3293, 0.0433], [0.0691, 0.9195, 0.0114], [0.0164, 0.0880, 0.8956]], dtype=np.float64
)
#: Light of white paper in HDR programmes [cd/m²], and the greatest that PQ can code.
_WHITE_CD_PER_M2: Final = 203.0
_PQ_GREATEST_CD_PER_M2: Final = 10000.0
#: HLG's value of white paper.
_HLG_WHITE: Final = 0.75
#: Constants of HLG (a, b, c) and of PQ (m1, m2, c1, c2, c3): ITU-R BT.2100-2, tables 5 and 4.
_HLG_A, _HLG_B, _HLG_C = 0.17883277, 0.28466892, 0.55991073
_PQ_M1, _PQ_M2 = 2610 / 16384, 2523 / 4096 * 128
_PQ_C1, _PQ_C2, _PQ_C3 = 3424 / 4096, 2413 / 4096 * 32, 2392 / 4096 * 32


def carry_colour(srgb: FloatArray, matrix: str, transfer: str) -> FloatArray:
    """Coded red, green, blue (0 to 1) that a clip gives to a colour of the sheet.

    Parameters
    ----------
    srgb : (3,) float array
        Coded red, green and blue of the sheet's colour, 0 to 1.
    matrix, transfer : str
        As `ClipFacts` names them.

    Notes
    -----
    A clip in BT.601 or BT.709 with a usual curve keeps the values: cameras set contrast by taste, by more than these
    curves differ. Otherwise light (IEC 61966-2-1) is carried to BT.2020's primaries (ITU-R BT.2087-0) and coded with
    white paper at 203 cd/m² in PQ and at 75 % in HLG (ITU-R BT.2408): ITU-R BT.2100-2, or BT.2020-2 for a usual curve.
    Checked by: tests/published/test_hdr_codes.py::test_narrow_bars_have_their_published_codes
    """
    if matrix != "bt2020" and transfer not in {"pq", "hlg"}:
        return srgb
    light = np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)
    if matrix == "bt2020":
        light = np.clip(_WIDE_FROM_NARROW @ light, 0, 1)
    if transfer == "pq":
        power = (light * _WHITE_CD_PER_M2 / _PQ_GREATEST_CD_PER_M2) ** _PQ_M1
        return np.asarray(((_PQ_C1 + _PQ_C2 * power) / (1 + _PQ_C3 * power)) ** _PQ_M2, dtype=np.float64)
    if transfer == "hlg":
        scene = light * (np.exp((_HLG_WHITE - _HLG_C) / _HLG_A) + _HLG_B) / 12
        bright = _HLG_A * np.log(np.maximum(12 * scene - _HLG_B, 1e-6)) + _HLG_C
        return np.asarray(np.where(scene <= 1 / 12, np.sqrt(3 * scene), bright), dtype=np.float64)
    return np.asarray(np.where(light < 0.0181, 4.5 * light, 1.0993 * light**0.45 - 0.0993), dtype=np.float64)
