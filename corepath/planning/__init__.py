"""Planning: the whole chain from a job file to a folder of files that have been read back."""

from corepath.planning.prepare import Prepared, prepare

__all__ = ["Prepared", "prepare"]
