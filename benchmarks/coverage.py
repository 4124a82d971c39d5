"""Do stated uncertainties hold the truth? The study of tests/derived, over many more runs and another seed."""

import numpy as np
import pandas as pd

from tests.derived.test_motion_coverage import errors_and_u

RUNS = 1000
SEED = 77


def measure() -> pd.DataFrame:
    """One row a quantity: share of |error| below 1.96 u (to be 0.95) and rms(error) over rms(u) (to be 1)."""
    rows = []
    for quantity, (error, u) in errors_and_u(RUNS, SEED).items():
        rows.append(
            {
                "quantity": quantity,
                "runs": RUNS,
                "inside_1.96_u": float(np.mean(np.abs(error) < 1.96 * u)),
                "rms_error_over_rms_u": float(np.sqrt(np.mean(error**2) / np.mean(u**2))),
            }
        )
    return pd.DataFrame(rows)
