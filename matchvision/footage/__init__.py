"""A clip file in, upright frames with true presentation times out."""

from matchvision.footage.checking import describe_footage
from matchvision.footage.looking import measure_pictures
from matchvision.footage.reading import first_look, read_facts, read_frames
from matchvision.footage.shifting import look_at_scene
from matchvision.footage.stills import read_stills

__all__ = [
    "describe_footage",
    "first_look",
    "look_at_scene",
    "measure_pictures",
    "read_facts",
    "read_frames",
    "read_stills",
]
