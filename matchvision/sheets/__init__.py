"""Stage or layer: sheets."""
