"""A watch that goes on with a recording: catching up, and the seam between the old watch and the new."""
