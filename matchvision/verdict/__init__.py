"""Who won and how surely, measured against predicted, and why."""

from matchvision.verdict.verdict import judge

__all__ = ["judge"]
