"""Rope tension from several sources, each with its uncertainty, fused; and each machine's traction."""

from matchvision.pull.measuring import measure_pull

__all__ = ["measure_pull"]
