"""Screens attached to a running watch over a local socket: the watch's side, a screen's side, what passes between."""
