"""A recording judged again with something changed, and both outcomes side by side."""
