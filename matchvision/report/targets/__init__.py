"""Printable material at true size: tags, discs, wraps for beads, rim dots, chessboard and the filming card."""

from matchvision.report.targets.planning import KINDS, TargetPlan, plan_by_hand, plan_from_sheet
from matchvision.report.targets.printing import Printed, print_targets

__all__ = ["KINDS", "Printed", "TargetPlan", "plan_by_hand", "plan_from_sheet", "print_targets"]
