"""Do stated uncertainties hold the truth? The study of tests/derived, over many more runs and another seed."""

import numpy as np
import pandas as pd

from tests.derived.test_motion_coverage import errors_and_u

RUNS = 1000
SEED = 77


def measure() -> pd.DataFrame:
    """One row a quantity: frames it is told in, |error| below 1.96 u (to be 0.95), rms(error)/rms(u) (to be 1)."""
    rows = []
    for quantity, (error, u) in errors_and_u(RUNS, SEED).items():
        told = np.isfinite(error) & np.isfinite(u)
        error, u = error[told], u[told]
        rows.append(
            {
                "quantity": quantity,
                "runs": RUNS,
                "told": float(np.mean(told)),
                "inside_1.96_u": float(np.mean(np.abs(error) < 1.96 * u)),
                "rms_error_over_rms_u": float(np.sqrt(np.mean(error**2) / np.mean(u**2))),
            }
        )
    return pd.DataFrame(rows)
