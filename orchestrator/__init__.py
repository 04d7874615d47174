"""Cutsheet: number, move and put studio audio devices on air, safely and with a way back."""

__version__ = "0.1.0"
