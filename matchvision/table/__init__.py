"""Stage or layer: table."""
