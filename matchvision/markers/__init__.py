"""Where each named marker is in each frame, in pixels, with its uncertainty and a state."""

from matchvision.markers.confusing import describe_colours
from matchvision.markers.inview import list_colours
from matchvision.markers.mending import mend_tracks
from matchvision.markers.planning import plan_markers
from matchvision.markers.surely import list_markers
from matchvision.markers.tracking import MarkerTracker

__all__ = ["MarkerTracker", "describe_colours", "list_colours", "list_markers", "mend_tracks", "plan_markers"]
