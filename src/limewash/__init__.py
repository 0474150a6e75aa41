"""Limewash: a light show on the front of a house, with an ordinary video projector."""

from importlib.metadata import version

__version__ = version("limewash")
