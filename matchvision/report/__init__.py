"""Stage or layer: report."""
