"""YAML as people write it: values with their places, and shapes to hold them against."""
