"""A watch on disk: where a recording goes, how it begins, what is written beside the machine's own events."""
