"""A recording against its tab: what was played, and was it in tune."""
