"""Drawings for the person at the machine: SVG text, one sheet per operation and an overview."""

from corepath.views.drawings.drawing import drawings, operation_drawing
from corepath.views.drawings.overview import overview
from corepath.views.drawings.scene import DrawnPlan

__all__ = ["DrawnPlan", "drawings", "operation_drawing", "overview"]
