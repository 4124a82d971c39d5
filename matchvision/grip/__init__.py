"""Stage or layer: grip."""
