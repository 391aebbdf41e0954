"""The hot path as a picture, and what stands beside it. Pure."""
