"""Recordings from elsewhere: what a foreign file says, as the events of a watch.

Readers are handed lines and give events; they open nothing and write nothing. What they could not understand is counted
and named, never guessed. Opening files is `source_file`, writing the recording is `writing`.
"""
