"""Stage or layer: verdict."""
