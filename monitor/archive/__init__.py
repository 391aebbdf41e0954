"""Many recordings: judged, listed and searched by an index, marked by their owner, and learned from.

Recordings are only ever read. What the owner says of one stands beside it; what is learned is proposed, never taken.
"""
