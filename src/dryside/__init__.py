"""Dryside: everything between the shutter and a sleeve of negatives in a binder that is not chemistry."""

__version__ = "0.1.0"
