"""The page of what is to come: every strand along the hours from now. Pure."""
