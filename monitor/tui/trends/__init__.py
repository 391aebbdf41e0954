"""The page of trends: which values, over which time, as graphs above one another. Pure."""
