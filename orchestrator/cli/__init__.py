"""The command line: parse, call one action, print, exit."""
