"""Write a template as DXF: mm, polylines and circles on layers with plain names, the same bytes for
the same template."""

from __future__ import annotations

import io

from corepath.layup.template_lines import Curve, TemplateCircle, TemplateLines

__all__ = ["dxf_text"]

_COLOURS = (7, 1, 5, 3, 6, 2, 4, 8)  # colour numbers of the format, only so that neighbours differ


def dxf_text(template: TemplateLines) -> str:
    """Return the text of a DXF file (release 2000), `$INSUNITS` mm. Dates and ids that would differ
    each time are fixed."""
    from ezdxf import options, units  # type: ignore[attr-defined]  # public, though not re-exported by name
    from ezdxf.filemanagement import new

    # The only switch that ezdxf has for this; it is global, so it is set back in any case.
    fixed = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True
    try:
        document = new("R2000", units=units.MM)
        document.header["$MEASUREMENT"] = 1
        for k, layer in enumerate(template.layers):
            document.layers.add(layer, color=_COLOURS[k % len(_COLOURS)])
        space = document.modelspace()
        for shape in template.shapes:
            on = {"layer": shape.layer}
            if isinstance(shape, Curve):
                space.add_lwpolyline(shape.points.tolist(), close=shape.closed, dxfattribs=on)
            elif isinstance(shape, TemplateCircle):
                space.add_circle((shape.x, shape.y), shape.radius, dxfattribs=on)
            else:
                space.add_text(
                    template.units.text(shape.text), height=shape.size, dxfattribs=on
                ).set_placement((shape.x, shape.y))
        stream = io.StringIO()
        document.write(stream)
    finally:
        options.write_fixed_meta_data_for_testing = fixed
    return stream.getvalue()
