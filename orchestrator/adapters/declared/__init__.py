"""REST devices spoken to by a device description, without code."""
