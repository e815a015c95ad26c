"""Handsfree: an offline voice assistant for work with two-part epoxy."""

__version__ = "0.1.0"
