"""Stage or layer: geometry."""
