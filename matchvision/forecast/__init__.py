"""The predicted run, from what the teams calculated."""

from matchvision.forecast.predicting import predict_run

__all__ = ["predict_run"]
