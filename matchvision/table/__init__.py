"""Find the table in the picture: camera from tags and clicks, one for the clip or one for each frame."""

from matchvision.table.covering import CoverWatch
from matchvision.table.expecting import expect_places, list_tags
from matchvision.table.finding import find_table
from matchvision.table.following import CameraFollower
from matchvision.table.holding import find_or_hold_table

__all__ = ["CameraFollower", "CoverWatch", "expect_places", "find_or_hold_table", "find_table", "list_tags"]
