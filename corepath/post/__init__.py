"""The post: a program's moves as RS-274 text."""

from corepath.post.head import FAILED, Extents, Heading
from corepath.post.numbers import Units
from corepath.post.writer import WrittenProgram, write

__all__ = ["FAILED", "Extents", "Heading", "Units", "WrittenProgram", "write"]
