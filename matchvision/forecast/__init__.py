"""Stage or layer: forecast."""
