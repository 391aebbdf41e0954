"""The report of a recording: what is gathered in one pass, what caused the first failure, and how it is told.

Imports nothing here, so that `--help` stays quick.
"""
