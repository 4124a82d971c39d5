"""What would have won: which change of the losing machine turns the verdict."""

from matchvision.remedies.seeking import seek_remedies

__all__ = ["seek_remedies"]
