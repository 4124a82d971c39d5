"""From tracks and cameras to positions, speeds, headings, wheel angles and the rope, with uncertainty."""

from matchvision.motion.measuring import measure_motion
from matchvision.motion.starting import set_clock

__all__ = ["measure_motion", "set_clock"]
