"""Tests of strandwatch."""
