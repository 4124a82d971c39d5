"""Slip, spin and drag of the wheels, and everything else that happened: dated events with evidence."""

from matchvision.grip.events import find_events

__all__ = ["find_events"]
