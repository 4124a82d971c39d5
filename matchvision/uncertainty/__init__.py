"""Propagation of uncertainty, intervals, line fits and rounding, after the GUM and its first supplement."""

from matchvision.uncertainty.lines import LineFit, fit_line, predict_line
from matchvision.uncertainty.opposing import beyond_share, share_of_whole
from matchvision.uncertainty.propagation import (
    Simulated,
    covariance_from_correlation,
    covariance_of_means,
    coverage_factor,
    effective_degrees,
    first_order_bends,
    jacobian_of,
    parts_of_uncertainty,
    propagate,
    simulate,
)
from matchvision.uncertainty.rounding import K_95, format_interval, format_quantity, round_to_uncertainty

__all__ = [
    "K_95",
    "LineFit",
    "Simulated",
    "beyond_share",
    "covariance_from_correlation",
    "covariance_of_means",
    "coverage_factor",
    "effective_degrees",
    "first_order_bends",
    "fit_line",
    "format_interval",
    "format_quantity",
    "jacobian_of",
    "parts_of_uncertainty",
    "predict_line",
    "propagate",
    "round_to_uncertainty",
    "share_of_whole",
    "simulate",
]
