"""Where each named marker is in each frame, in pixels, with its uncertainty and a state."""

from matchvision.markers.blobs import find_blobs, label_colours, measure_neutral, outline_table
from matchvision.markers.colours import chroma_of, chroma_of_coded, expect_palette, make_palette
from matchvision.markers.confusing import describe_colours
from matchvision.markers.finding import find_all, marker_heights
from matchvision.markers.inview import list_colours
from matchvision.markers.mending import mend_tracks
from matchvision.markers.planning import plan_markers
from matchvision.markers.surely import list_markers
from matchvision.markers.tracking import MarkerTracker
from matchvision.markers.warming import ready_kernels

__all__ = [
    "MarkerTracker",
    "chroma_of",
    "chroma_of_coded",
    "describe_colours",
    "expect_palette",
    "find_all",
    "find_blobs",
    "label_colours",
    "list_colours",
    "list_markers",
    "make_palette",
    "marker_heights",
    "measure_neutral",
    "mend_tracks",
    "outline_table",
    "plan_markers",
    "ready_kernels",
]
