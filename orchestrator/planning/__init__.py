"""Pure functions: as found and wanted, to changes, to a safe sequence, to an estimate; the proof.

No clock, no chance, no file: the same input gives the same output, always.
"""
