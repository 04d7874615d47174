"""The domain as frozen values: what a facility is, was found to be, and is wanted to be.

Nothing here reads a file, a clock or a network. Addresses are canonical dotted-quad text
(``"10.44.3.31"``), multicast groups are ``"address:port"`` text, seconds are floats.
"""
