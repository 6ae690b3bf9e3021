"""Scores in staff notation: bars of timed pitches, to tab and back."""
