"""Which holes: the best ones for a melody, a tune moved to another harp, the harps that fit it."""
