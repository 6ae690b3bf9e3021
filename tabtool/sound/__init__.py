"""What a tune sounds like: the reed voice, sound fonts, files of sound."""
