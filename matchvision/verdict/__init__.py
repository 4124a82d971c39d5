"""Who won and how surely, measured against predicted, and why."""

from matchvision.verdict.verdict import judge, seek_causes

__all__ = ["judge", "seek_causes"]
