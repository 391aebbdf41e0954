"""Tells people who are not at the screen: whom, when, in what words, and what became of it."""
