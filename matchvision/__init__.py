"""Film a rope-pulling contest of small machines and get what really happened, with its uncertainty."""

__version__ = "0.1.0"
