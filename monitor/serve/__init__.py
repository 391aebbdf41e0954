"""A running watch in a browser: one small page, and a websocket that brings it the lines of an attached screen."""
