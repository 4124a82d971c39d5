"""The practice stage: what a practice run tells about a machine or a load, in the words of the sheet."""

from matchvision.practice.measuring import measure_practice

__all__ = ["measure_practice"]
