"""A recording played again: its events as a source, its states at any place, and how to move about in it."""
