"""Measurements of speed and accuracy; see README.md in this folder. Never part of the tests' pass or fail."""
