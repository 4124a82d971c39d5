"""Many runs: repeats side by side, and a whole class with its draw, tables and page."""
