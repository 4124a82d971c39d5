"""Find the table in the picture: camera from tags and clicks, one for the clip or one for each frame."""

from matchvision.table.finding import find_table
from matchvision.table.following import CameraFollower

__all__ = ["CameraFollower", "find_table"]
