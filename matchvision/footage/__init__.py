"""A clip file in, upright frames with true presentation times out."""

from matchvision.footage.checking import describe_footage
from matchvision.footage.reading import first_look, read_facts, read_frames

__all__ = ["describe_footage", "first_look", "read_facts", "read_frames"]
