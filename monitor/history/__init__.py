"""What a watch remembers of its past for drawing trends: which curves there are, and how they are kept. Pure."""
