"""A clip file in, upright frames with true presentation times out."""

from matchvision.footage.checking import describe_footage
from matchvision.footage.choosing import hear_start
from matchvision.footage.glancing import first_look, look_throughout
from matchvision.footage.lamp import LampWatch
from matchvision.footage.looking import NEIGHBOURS, LookWatch, join_frames, measure_pictures
from matchvision.footage.reading import read_facts, read_frames
from matchvision.footage.readout import BandWatch
from matchvision.footage.shifting import look_at_scene
from matchvision.footage.sound import find_sound_onsets
from matchvision.footage.stepping import measure_steps
from matchvision.footage.stills import is_still, read_still, read_stills
from matchvision.footage.viewing import weigh_markers, weigh_table
from matchvision.footage.weighing import weigh_pictures

__all__ = [
    "NEIGHBOURS",
    "BandWatch",
    "LampWatch",
    "LookWatch",
    "describe_footage",
    "find_sound_onsets",
    "first_look",
    "hear_start",
    "is_still",
    "join_frames",
    "look_at_scene",
    "look_throughout",
    "measure_pictures",
    "measure_steps",
    "read_facts",
    "read_frames",
    "read_still",
    "read_stills",
    "weigh_markers",
    "weigh_pictures",
    "weigh_table",
]
