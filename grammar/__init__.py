"""The grammar of the notation, as package data."""
