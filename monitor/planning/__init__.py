"""Before the build: what it will do to every strand, and what to change so that all survive it.

Pure: takes a machine's parameters and the schedule of a build file, runs the engine over it, and judges what comes of
it. Knows nothing of files, terminals or the network.
"""
