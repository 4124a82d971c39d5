"""The predicted run, from what the teams calculated."""

from matchvision.forecast.predicting import predict_run
from matchvision.forecast.starts import assume_starts

__all__ = ["assume_starts", "predict_run"]
