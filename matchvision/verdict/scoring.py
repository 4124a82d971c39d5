"""Scores under the name by which this stage knows them."""

from matchvision.uncertainty.scoring import (
    K_EXPANDED,
    brier_score,
    crps_gaussian,
    en_score,
    validation_uncertainty,
    zeta_score,
)

__all__ = ["K_EXPANDED", "brier_score", "crps_gaussian", "en_score", "validation_uncertainty", "zeta_score"]
