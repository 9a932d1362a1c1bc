"""The laid floors written back into a copy of the building model that they came from."""
