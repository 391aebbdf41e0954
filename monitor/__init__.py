"""Turns events into assessments and carries them to screen, recording and notifier."""
