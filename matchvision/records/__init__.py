"""Stage or layer: records."""
