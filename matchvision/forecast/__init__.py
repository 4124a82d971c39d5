"""The predicted run, from what the teams calculated."""

from matchvision.forecast.alone import follow_end
from matchvision.forecast.bands import chance_interval
from matchvision.forecast.predicting import predict_run
from matchvision.forecast.sealing import find_seal, seal_forecast
from matchvision.forecast.starts import assume_starts, ruled_starts

__all__ = [
    "assume_starts",
    "chance_interval",
    "find_seal",
    "follow_end",
    "predict_run",
    "ruled_starts",
    "seal_forecast",
]
