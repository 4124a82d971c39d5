"""Who won and how surely, measured against predicted, and why."""

from matchvision.verdict.first import tell_first
from matchvision.verdict.refitted import fit_match
from matchvision.verdict.verdict import judge, seek_causes

__all__ = ["fit_match", "judge", "seek_causes", "tell_first"]
