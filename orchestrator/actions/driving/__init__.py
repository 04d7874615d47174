"""A run on real devices: the loop, its operations, and what a person does to it meanwhile."""
