"""The page of one strand: its numbers, its heat and dose along the path, its dose over the hours. Pure."""
