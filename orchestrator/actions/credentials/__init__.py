"""Secrets and certificates: asked for, tried, confirmed and changed."""
