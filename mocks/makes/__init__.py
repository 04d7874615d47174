"""Simulated devices of invented makes, each with ways of its own."""
