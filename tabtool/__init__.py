"""Harmonica tablature: notation, events, pitches, checks, renderings."""
