"""Where each named marker is in each frame, in pixels, with its uncertainty and a state."""

from matchvision.markers.planning import plan_markers
from matchvision.markers.tracking import MarkerTracker

__all__ = ["MarkerTracker", "plan_markers"]
