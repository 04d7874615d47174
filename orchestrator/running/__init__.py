"""A run as a pure state machine: what it asks for, what it may be told, and what it makes of it.

No clock, no chance, no file, no network: drivers bring those.
"""
