"""Propagation of uncertainty, budgets, intervals, line fits and rounding, after the GUM and its first supplement."""

from matchvision.uncertainty.budgets import (
    BENDING,
    Effect,
    Input,
    Model,
    Propagated,
    expand,
    propagate_inputs,
    root_sum,
)
from matchvision.uncertainty.joining import Joined, join_values
from matchvision.uncertainty.lines import LineFit, fit_line, predict_line
from matchvision.uncertainty.opposing import beyond_share, share_of_whole
from matchvision.uncertainty.propagation import (
    Simulated,
    coverage_factor,
    effective_degrees,
    first_order_bends,
    jacobian_of,
    parts_of_uncertainty,
    propagate,
    simulate,
)
from matchvision.uncertainty.rounding import (
    K_95,
    format_chance,
    format_chances,
    format_interval,
    format_quantity,
    round_to_uncertainty,
)
from matchvision.uncertainty.windows import window_mean, window_sums
from matchvision.uncertainty.winning import Chances, chances_by_line, chances_by_share

__all__ = [
    "BENDING",
    "K_95",
    "Chances",
    "Effect",
    "Input",
    "Joined",
    "LineFit",
    "Model",
    "Propagated",
    "Simulated",
    "beyond_share",
    "chances_by_line",
    "chances_by_share",
    "coverage_factor",
    "effective_degrees",
    "expand",
    "first_order_bends",
    "fit_line",
    "format_chance",
    "format_chances",
    "format_interval",
    "format_quantity",
    "jacobian_of",
    "join_values",
    "parts_of_uncertainty",
    "predict_line",
    "propagate",
    "propagate_inputs",
    "root_sum",
    "round_to_uncertainty",
    "share_of_whole",
    "simulate",
    "window_mean",
    "window_sums",
]
