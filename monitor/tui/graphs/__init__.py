"""Curves in cells: what is drawn, on which scale, over which time. Pure."""
