"""Turns what a machine says into events. Never imports `monitor`."""
