"""Propagation of uncertainty, intervals, line fits and rounding, after the GUM and its first supplement."""

from matchvision.uncertainty.lines import LineFit, fit_line, predict_line
from matchvision.uncertainty.propagation import (
    Simulated,
    covariance_from_correlation,
    covariance_of_means,
    coverage_factor,
    effective_degrees,
    first_order_bends,
    jacobian_of,
    propagate,
    simulate,
)
from matchvision.uncertainty.rounding import format_quantity, round_to_uncertainty

__all__ = [
    "LineFit",
    "Simulated",
    "covariance_from_correlation",
    "covariance_of_means",
    "coverage_factor",
    "effective_degrees",
    "first_order_bends",
    "fit_line",
    "format_quantity",
    "jacobian_of",
    "predict_line",
    "propagate",
    "round_to_uncertainty",
    "simulate",
]
