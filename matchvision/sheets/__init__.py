"""Run sheets: reading and checking what people write, and a sheet to start from."""

from matchvision.sheets.describing import describe_keys
from matchvision.sheets.drafting import Draft, check_draft, load_draft, refuse_wanting
from matchvision.sheets.joining import join_sheets, load_team
from matchvision.sheets.loading import load_run
from matchvision.sheets.schema import describe_run_sheet
from matchvision.sheets.starting import write_new_sheet

__all__ = [
    "Draft",
    "check_draft",
    "describe_keys",
    "describe_run_sheet",
    "join_sheets",
    "load_draft",
    "load_run",
    "load_team",
    "refuse_wanting",
    "write_new_sheet",
]
