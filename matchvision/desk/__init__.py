"""The desk: a local page for what only eyes can do, before a run is analysed.

A person chooses pictures, sets table points, shows colours, names markers, previews and mends the tracking, and starts
the analysis. What is learnt goes into files beside the run sheet; what a person wrote stays as it is.
"""

from matchvision.desk.serving import OpenDesk, open_desk

__all__ = ["OpenDesk", "open_desk"]
