"""Renderings of a tune, one file an output, named after its suffix."""
