"""Run sheets: reading and checking what people write, and a sheet to start from."""

from matchvision.sheets.describing import describe_keys
from matchvision.sheets.joining import join_sheets, load_team
from matchvision.sheets.loading import load_run
from matchvision.sheets.schema import describe_run_sheet
from matchvision.sheets.starting import write_new_sheet

__all__ = ["describe_keys", "describe_run_sheet", "join_sheets", "load_run", "load_team", "write_new_sheet"]
