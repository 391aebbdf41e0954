"""Benchmarks that print ratios; none of them is a timed test."""
