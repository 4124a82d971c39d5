"""Run sheets: reading and checking what people write, and a sheet to start from."""

from matchvision.sheets.loading import load_run

__all__ = ["load_run"]
