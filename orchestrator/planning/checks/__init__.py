"""The checks of the documents against one another, one idea a file. Nothing is asked of devices."""
