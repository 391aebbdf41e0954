"""The terminal itself: what it allows, how it begins and ends, and how changed cells get there."""
