"""The post: a program's moves as RS-274 text."""

from corepath.gcode.write.head import FAILED, Extents, Heading
from corepath.gcode.write.numbers import Units
from corepath.gcode.write.writer import WrittenProgram, write

__all__ = ["FAILED", "Extents", "Heading", "Units", "WrittenProgram", "write"]
