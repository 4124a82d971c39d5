"""Motor line, gear, grip, weight transfer, rope, and the match as an initial-value problem."""
