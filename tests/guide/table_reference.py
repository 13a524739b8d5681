"""The tables of hardware, woods and resins as a page of the guide, generated from the data files
with each source.

Lengths in mm, densities of wood in kg/m³ and of resin in g/cm³, movement of wood in % of its size
per % of moisture.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from corepath.job.tables.builtin import Figure, Hardware, hardware, resins, threads, woods

__all__ = ["table_reference"]

_HEAD = """# Hardware, woods and resins

Generated from the tables in `corepath/job/data/`; do not edit. Each figure has its source: *from
memory* and *common practice, no source* mean what they say. The data sheet of what you bought, and
your own callipers, win over all of them; give the key in the job, and it replaces the figure. How
to add a part or a cutter:
[cutters-and-hardware.md](cutters-and-hardware.md).
"""
_SIZES = ("barrel", "flange", "flange_thickness", "length", "prongs")


def table_reference() -> str:
    """The page as Markdown."""
    return "\n".join([_HEAD, *_hardware(), *_threads(), *_woods(), *_resins()]) + "\n"


def _row(cells: Iterable[str]) -> str:
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"


def _table(names: Sequence[str], rows: Iterable[Sequence[str]]) -> Iterator[str]:
    yield _row(names)
    yield "|" + "---|" * len(names)
    yield from (_row(cells) for cells in rows)
    yield ""


def _sources(marked: Iterable[tuple[str, str, str]]) -> Iterator[str]:
    """One line for each source with all (figure, name) that come from it, in the order of the
    table."""
    told: dict[str, dict[str, list[str]]] = {}
    for figure, name, source in marked:
        told.setdefault(source, {}).setdefault(figure, []).append(f"`{name}`")
    for source, figures in told.items():
        yield (
            "- "
            + "; ".join(f"{figure} of {', '.join(names)}" for figure, names in figures.items())
            + f": {source}."
        )
    yield ""


def _size(figure: Figure) -> str:
    return f"{figure.value:g} ± {figure.tolerance:g}" if figure.tolerance else f"{figure.value:g}"


def _hardware() -> Iterator[str]:
    yield "## Hardware: `insert.hardware`\n"
    yield "mm; *length* is over all, the flange included; ± is how far makers differ."
    yield "The same part in one of the *other lengths* has it behind its name: `tee-nut-M6-12`.\n"
    rows = hardware()
    longer = {name: _other_lengths(name, rows) for name in rows}
    listed = [name for name in rows if not any(name in others for others in longer.values())]
    yield from _table(
        (
            "name",
            "what it is",
            *(key.replace("_", " ") for key in _SIZES),
            "other lengths",
            "source",
        ),
        [
            (
                f"`{name}`",
                rows[name].title,
                *(_size(getattr(rows[name], key)) for key in _SIZES),
                ", ".join(f"{rows[other].length.value:g}" for other in longer[name]),
                "; ".join(_part_sources(rows[name])),
            )
            for name in listed
        ],
    )


def _other_lengths(name: str, rows: Mapping[str, Hardware]) -> list[str]:
    """Names of the same part in other lengths."""
    return [
        other
        for other, part in rows.items()
        if other != name and other == f"{name}-{part.length.value:g}"
    ]


def _part_sources(part: Hardware) -> list[str]:
    """The sources of a part's figures, each once; of prongs that it does not have there is none."""
    return list(
        dict.fromkeys(getattr(part, key).source for key in _SIZES if getattr(part, key).value)
    )


def _threads() -> Iterator[str]:
    yield "## Threads: their bolts and clearance holes\n"
    yield "mm; of threads in inches the close, the normal and the loose hole.\n"
    yield from _table(
        ("name", "nominal", "fine", "medium", "coarse", "sources"),
        [
            (f"`{name}`", *(f"{size:g}" for size in row[:4]), "; ".join(row.sources))
            for name, row in threads().items()
        ],
    )


def _woods() -> Iterator[str]:
    yield "## Woods: `blank.wood`\n"
    yield (
        "Density in kg/m³ at 12 % moisture; movement in % of the size for each % of moisture, from "
        "6 to 14 %. A real "
        "board differs by 10 % in density and 20 % in movement.\n"
    )
    rows = woods()
    yield from _table(
        ("name", "what it is", "density", "radial", "tangential"),
        [
            (
                f"`{name}`",
                wood.title,
                f"{wood.density.value:g}",
                *(_share(f) for f in (wood.radial, wood.tangential)),
            )
            for name, wood in rows.items()
        ],
    )
    yield from _sources(
        (key, name, getattr(wood, key).source)
        for key in ("density", "radial", "tangential")
        for name, wood in rows.items()
    )
    yield (
        "Wood Handbook: USDA Forest Products Laboratory, General Technical Report "
        "FPL-GTR-190, 2010.\n"
    )


def _share(figure: Figure) -> str:
    return f"{100 * figure.value:.3f}"


def _resins() -> Iterator[str]:
    yield "## Resins: `cast.resin`\n"
    yield (
        "Generic kinds. Densities of the parts A and B in g/cm³; linear shrinkage, and the share "
        "of its depth that a "
        "casting sinks before it gels, in %; pot life in minutes; the most that is mixed in one "
        "cup, g; the deepest "
        "that is poured at once, mm. The maker's sheet wins, always.\n"
    )
    rows = resins()
    keys = ("shrinkage", "gel_loss", "pot_life", "cup", "layer")
    yield from _table(
        (
            "name",
            "what it is",
            "density A",
            "density B",
            "shrinkage",
            "lost before gel",
            "pot life",
            "cup",
            "layer",
        ),
        [
            (
                f"`{name}`",
                resin.title,
                *(f"{part:.2f}" for part in resin.density),
                *(f"{100 * getattr(resin, key).value:g}" for key in keys[:2]),
                *(f"{getattr(resin, key).value:g}" for key in keys[2:]),
            )
            for name, resin in rows.items()
        ],
    )
    marked = [("density", name, resin.density_source) for name, resin in rows.items()]
    marked += [
        (key.replace("_", " "), name, getattr(resin, key).source)
        for key in keys
        for name, resin in rows.items()
    ]
    yield from _sources(marked)
    for name, resin in rows.items():
        yield f"**Cautions for `{name}`.** " + " ".join(resin.cautions) + "\n"
