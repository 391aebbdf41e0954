"""The terminal screen: a client of a running watch that reads immutable assessments only."""
