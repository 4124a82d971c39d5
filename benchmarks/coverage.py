"""Placeholder until the study lands."""

import pandas as pd


def measure() -> pd.DataFrame:
    """Nothing yet."""
    return pd.DataFrame()
