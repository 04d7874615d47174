"""Device descriptions: how a make and model is spoken to."""
