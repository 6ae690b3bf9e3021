"""The commands, one file each: `configure` declares arguments, `run` returns the exit status."""
