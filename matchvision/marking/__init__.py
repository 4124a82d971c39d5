"""Marks for an instructor: how good a team's forecast was, by a rubric, each mark with its arithmetic."""

from matchvision.marking.marking import mark_run
from matchvision.marking.scoring import score_machine

__all__ = ["mark_run", "score_machine"]
