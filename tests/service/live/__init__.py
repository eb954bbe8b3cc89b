"""The live door: readings in, readouts out."""
