"""solander: from the folder of finished masters to what goes online and what goes into storage."""

__version__ = "0.1.0"
