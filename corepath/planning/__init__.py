"""Planning: the whole chain from a job file to a folder of files that have been read back.

Nothing is loaded here: a verdict needs neither paths nor read-back nor drawings, so each caller
names the module that it wants, as in `from corepath.planning.plan import plan`.
"""
