"""The commands, one module each; `monitor.cli` imports the one that is asked for."""
