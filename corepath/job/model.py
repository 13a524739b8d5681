"""The job: what the user wrote, checked and immutable. All lengths in mm, whatever the file's
units.

The description of each field is the reference text of its key. `Length` fields are scaled from
inches when the file says `units = "inch"`: the loader passes `context={"scale": 25.4}`.
Board frame: X along the length, Y across, origin at the middle of the blank, Z up from the finished
bottom.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import fields
from typing import TYPE_CHECKING, Annotated, Any, Literal, Self

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    PrivateAttr,
    SerializerFunctionWrapHandler,
    ValidationInfo,
    model_serializer,
    model_validator,
)

from corepath.job.places import Mirror, images, pattern_places
from corepath.motion.cutter import Cutter, Helix, Material, Shape, missing_sizes

if TYPE_CHECKING:
    from corepath.motion.clock import Limits

__all__ = [
    "BedSection", "BlankSection", "BoardSection", "CastSection", "CutterSection", "DeckSection",
    "DowelSection", "GrooveSection", "HardwareSection", "HoldSection", "Inches", "InsertSection",
    "Job", "LayupSection", "LimitsSection", "MachineSection", "Millimetres", "MillingSection",
    "ObstacleSection", "OutlineSection", "PatchSection", "PatternSection", "PlacedSection",
    "PlugSection", "Point", "ResinSection", "ScrewSection", "SkimSection", "SkinSection",
    "Tolerances", "TrimSection",
]  # fmt: skip


class Millimetres(float):
    """A length that is in mm whatever the file's units, such as one from a table of hardware."""


class Inches(Millimetres):
    """A length in mm that somebody typed in inches, into a shop file of other units than the
    job."""


def _scaled(value: Any, info: ValidationInfo) -> Any:
    scale = (info.context or {}).get("scale", 1.0)
    if isinstance(value, Millimetres):
        return float(value)
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        # An integer of hundreds of digits, which TOML allows, does not fit a float. Infinity then
        # fails the check for finite numbers like any other.
        try:
            return value * scale
        except OverflowError:
            return math.inf
    return value


_Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]
Length = Annotated[_Number, BeforeValidator(_scaled)]
PositiveLength = Annotated[Length, Field(gt=0)]
NonNegativeLength = Annotated[Length, Field(ge=0)]
Positive = Annotated[_Number, Field(gt=0)]
NonNegative = Annotated[_Number, Field(ge=0)]
Point = tuple[Length, Length]
Flag = Annotated[bool, Field(strict=True)]
SetupLetter = Literal["A", "B", "C", "D"]


class Section(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=False)


class BoardSection(Section):
    thickness: PositiveLength = Field(
        description="finished thickness: the largest deck station, or the highest of mesh or grid"
    )
    edge_thickness: PositiveLength = Field(
        description="finished thickness at the outline and in the edge band"
    )
    mirror: Literal["ends", "sides"] | None = Field(
        None,
        description="the other one of a pair: ends exchanges X+ and X-, sides Y+ and Y-, of all "
        "places as typed",
    )

    @model_serializer(mode="wrap")
    def _keys_in_use(self, others: SerializerFunctionWrapHandler) -> dict[str, Any]:
        """All keys; `mirror` only where it is given, so that it alone changes a digest."""
        keys: dict[str, Any] = others(self)
        if self.mirror is None:
            keys.pop("mirror", None)
        return keys


class OutlineSection(Section):
    stations: tuple[tuple[Length, NonNegativeLength], ...] | None = Field(
        None,
        min_length=3,
        description="[x, half width] pairs; a smooth closed curve, symmetric about the X axis",
    )
    points: tuple[Point, ...] | None = Field(
        None, min_length=3, description="[x, y] corners of the outline, in order"
    )
    smooth: Flag = Field(
        False,
        description="with points: a smooth closed curve through them instead of straight lines",
    )
    dxf: str | None = Field(
        None, min_length=1, description="DXF file with the outline, relative to the job file"
    )
    layer: str | None = Field(
        None, description="layer of the DXF file that holds the outline; all layers if not given"
    )
    dxf_units: Literal["mm", "cm", "m", "inch", "foot"] | None = Field(
        None, description="units of the DXF file, where its header does not state them"
    )
    join: PositiveLength = Field(
        0.05, description="DXF pieces whose ends lie closer than this are joined"
    )
    # Only compared with: no path follows from it, so it does not count in a plan's digest, and a
    # plan's folder needs no file of it.
    template: str | None = Field(
        None,
        min_length=1,
        exclude=True,
        description="DXF file with an outline to compare with, such as that of an old board, "
        "relative to the job file",
    )
    template_layer: str | None = Field(
        None, exclude=True, description="its layer; all layers if not given"
    )
    template_units: Literal["mm", "cm", "m", "inch", "foot"] | None = Field(
        None, exclude=True, description="its units, where its header does not state them"
    )
    template_at: Point = Field(
        (0.0, 0.0), exclude=True, description="[x, y] of its own origin in the board frame"
    )


LengthUnit = Literal["mm", "cm", "m", "inch"]


class PatchSection(Section):
    name: str | None = Field(
        None, min_length=1, max_length=24, description="as in report and messages"
    )
    at: tuple[Point, ...] | None = Field(
        None,
        min_length=1,
        description="[[x, y], …] of the middle of each, of a circle or a rectangle",
    )
    diameter: PositiveLength | None = Field(None, description="of a circle")
    size: tuple[PositiveLength, PositiveLength] | None = Field(
        None, description="[length, width] of a rectangle"
    )
    angle: _Number = Field(
        0.0, description="direction of a rectangle's length, degrees from X towards Y"
    )
    points: tuple[Point, ...] | None = Field(
        None, min_length=3, description="[x, y] corners of any other form, joined by straight lines"
    )
    flat: PositiveLength | None = Field(
        None, description="height of its level plateau above the finished bottom"
    )
    raised: PositiveLength | None = Field(
        None, description="by how much it stands above the deck round it"
    )
    sunk: PositiveLength | None = Field(
        None, description="by how much it lies below the deck round it"
    )
    blend: PositiveLength = Field(
        description="width inside its form over which it meets the deck round it"
    )


class DeckSection(Section):
    stations: tuple[tuple[Length, PositiveLength], ...] | None = Field(
        None, min_length=2, description="[x, thickness] pairs of the finished core along the X axis"
    )
    profile: tuple[tuple[Length, Length], ...] | None = Field(
        None,
        min_length=1,
        description="[x, crown] pairs, with stations: by how much the deck falls from the X axis "
        "to the half width; "
        "below 0 where it is concave",
    )
    mesh: str | None = Field(
        None, min_length=1, description="STL, OBJ or PLY file of the deck, relative to the job file"
    )
    mesh_units: LengthUnit | None = Field(
        None, description="units of the mesh file, which does not state them"
    )
    mesh_at: tuple[Length, Length, Length] = Field(
        (0.0, 0.0, 0.0), description="[x, y, z] of the mesh's own origin in the board frame"
    )
    mesh_angle: _Number = Field(
        0.0, description="turns the mesh about its own Z axis, degrees from X towards Y"
    )
    mesh_smooth: NonNegativeLength = Field(
        0.0, description="total width of the kernel that smooths the mesh's heights"
    )
    grid: str | None = Field(
        None,
        min_length=1,
        description="CSV file of x, y, h on a grid, or NPY file of h, relative to the job file",
    )
    grid_units: LengthUnit | None = Field(
        None, description="units of the grid file, which does not state them"
    )
    grid_origin: Point | None = Field(None, description="[x, y] of the first value of an NPY file")
    grid_spacing: tuple[PositiveLength, PositiveLength] | None = Field(
        None,
        description="[along x, along y] between the values of an NPY file; its first index "
        "runs along X",
    )
    grid_smooth: NonNegativeLength = Field(
        0.0, description="total width of the kernel that smooths the grid's heights"
    )
    sha256: str | None = Field(
        None,
        pattern=r"^[0-9a-f]{64}$",
        description="SHA-256 of the mesh or grid file's bytes; another file is refused. A plan "
        "fills it in",
    )
    patch: tuple[PatchSection, ...] = Field(
        (), description="local patches, laid on in the order given"
    )
    edge_band: NonNegativeLength = Field(
        14.0,
        description="width inside the outline at the edge thickness; over it a mesh or grid "
        "is brought to it",
    )
    blend: PositiveLength = Field(
        110.0,
        description="width over which a deck of stations rises from the edge band to its "
        "full height",
    )
    clean_up: NonNegativeLength = Field(
        0.4, description="least wood that the deck pass must remove everywhere"
    )
    smooth: NonNegativeLength = Field(
        60.0, description="total width of the kernel that smooths the stations' curve"
    )
    least_radius: PositiveLength = Field(
        150.0, description="creases of the deck are rounded to this radius"
    )
    scallop: PositiveLength = Field(
        0.05, description="height of the ridges that finishing lines may leave"
    )
    grain_penalty: Annotated[float, Field(strict=True, ge=1, le=20)] = Field(
        1.0,
        description="how much a minute of finishing across the grain counts, where lines may "
        "run either way",
    )
    margin: NonNegativeLength = Field(
        0.0,
        description="width of a frame along the blank's edges that is left at full height, "
        "for clamps",
    )
    beyond: NonNegativeLength | None = Field(
        None,
        description="how far beyond the outline the deck is finished, as far as skin and bag "
        "reach; the waste outside is only roughed; the whole blank if not given",
    )


class BlankSection(Section):
    length: PositiveLength = Field(description="along X")
    width: PositiveLength = Field(description="along Y")
    thickness: PositiveLength = Field(description="of the raw block")
    tolerance: NonNegativeLength | None = Field(
        None,
        description="how far the thickness may be off; wins over tolerances.thickness where the "
        "blank is not measured",
    )
    wood: str = Field("yellow-poplar", description="species, for its movement with moisture")
    grain: Literal["flat", "quarter"] = Field(
        "flat", description="flat-sawn or quarter-sawn: how the width moves with moisture"
    )
    measured: str | None = Field(
        None,
        description="CSV of measured places: x, y, thickness and/or height above the bed as held",
    )
    spoil_board: PositiveLength = Field(
        18.0,
        description="thickness of the faced board under the blank; cuts may enter it and nothing "
        "may pass through",
    )


class BedSection(Section):
    size: tuple[PositiveLength, PositiveLength] = Field(
        description="[along x, along y] of the spoil board, its middle at X0 Y0"
    )
    thickness: PositiveLength = Field(
        description="of the spoil board as last measured; blank.spoil_board where a job gives none"
    )
    least: PositiveLength = Field(
        10.0, description="thickness below which it is worn out, and a job is refused"
    )
    face: PositiveLength = Field(0.4, description="depth that facing takes off")
    pins: tuple[Point, ...] = Field(
        (), description="[[x, y], …] of the holes for dowels that the jobs of the shop share"
    )
    pin_diameter: PositiveLength = Field(5.0, description="of these holes")
    pin_depth: PositiveLength = Field(7.0, description="of these holes")
    cross: PositiveLength = Field(30.0, description="length of the arms of the cross at X0 Y0")
    cross_depth: PositiveLength = Field(0.3, description="depth of the cross")
    edge: tuple[PositiveLength, PositiveLength] | None = Field(
        None, description="[length, thickness] of the largest blank whose edge is squared"
    )


class GrooveSection(Section):
    inside: PositiveLength = Field(description="width of the groove inside the outline")
    outside: PositiveLength = Field(description="width of the groove outside the outline")
    floor: PositiveLength = Field(
        description="height above the bed in A of the floor of groove and pockets"
    )
    least_floor: PositiveLength = Field(0.6, description="least wood that must be left under them")
    leak_floor: NonNegativeLength = Field(
        0.2, description="wood under them at which resin is taken to leak, for the odds"
    )

    @property
    def width(self) -> float:
        """Width of the groove, mm: from its wall inside the outline to that outside."""
        return self.inside + self.outside


class PatternSection(Section):
    at: Point = Field(description="[x, y] of the middle of the pattern")
    rows: Annotated[int, Field(strict=True, ge=1, le=99)] = Field(
        1, description="places across, along Y"
    )
    columns: Annotated[int, Field(strict=True, ge=1, le=99)] = Field(
        1, description="places along X"
    )
    pitch: tuple[NonNegativeLength, NonNegativeLength] = Field(
        description="[dx, dy] from one place to the next, along X and along Y"
    )


class PlacedSection(Section):
    """A table with places: those typed, those of a pattern and mirror images are all in `at` once
    it is read, so that nothing else needs to know how they were given."""

    name: str = Field(
        min_length=1,
        max_length=12,
        pattern=r"^[A-Za-z][A-Za-z0-9_-]*$",
        description="short name, as in drawings",
    )
    at: tuple[Point, ...] = Field(
        (),
        min_length=1,
        description="[[x, y], …] of the middle of each; may be left out beside a pattern",
    )
    # neither is dumped: the dump has all places in `at`, and reading it must not repeat them
    pattern: PatternSection | None = Field(
        None,
        exclude=True,
        description="more places, in rows and columns: {at, rows, columns, pitch}",
    )
    mirror: Mirror | None = Field(
        None,
        exclude=True,
        description="adds the mirror image of each place: ends x to -x, sides y to -y, or both",
    )
    _typed: int = PrivateAttr(0)

    @model_validator(mode="after")
    def _all_places(self) -> Self:
        one = self.pattern
        given = self.at + (
            pattern_places(one.at, one.rows, one.columns, one.pitch) if one is not None else ()
        )
        self._typed = len(self.at)
        # the class is frozen for all others
        self.__dict__["at"] = given + images(given, self.mirror)
        return self

    # Two are equal where their places are, however these were given: a job read back from a plan's
    # folder is the job that was planned.
    def __eq__(self, other: object) -> bool:
        return isinstance(other, type(self)) and self._dumped() == other._dumped()

    def __hash__(self) -> int:
        return hash(self._dumped())

    def _dumped(self) -> tuple[Any, ...]:
        of = type(self).model_fields.items()
        return tuple(getattr(self, name) for name, field in of if not field.exclude)

    @property
    def typed(self) -> int:
        """How many of the places are typed one by one; they come first."""
        return self._typed

    def key_of_place(self, number: int) -> str:
        """Return the key that gives a place, counted from 1: `at[3]`, `pattern` or `mirror`."""
        if number <= self._typed:
            return f"at[{number}]"
        one = self.pattern
        of_pattern = one.rows * one.columns if one is not None else 0
        return "pattern" if number <= self._typed + of_pattern else "mirror"


class PlugSection(PlacedSection):
    diameter: PositiveLength = Field(description="of a round plug; width of a slot")
    slot: PositiveLength | None = Field(
        None, description="overall length of a slot; round if not given"
    )
    angle: _Number = Field(0.0, description="direction of a slot, degrees from X towards Y")
    bolt_hole: PositiveLength = Field(
        description="diameter of the hole drilled through it after lay-up"
    )
    floor: PositiveLength | None = Field(
        None, description="height of its floor above the bed in A; groove.floor if not given"
    )


class InsertSection(PlacedSection):
    hardware: str | None = Field(
        None, description="name in the hardware table; keys given here win over it"
    )
    barrel: PositiveLength = Field(description="outer diameter of the barrel")
    flange: PositiveLength = Field(description="diameter of the flange")
    flange_thickness: PositiveLength = Field(description="thickness of the flange")
    length: PositiveLength = Field(description="over all, the flange included")
    prongs: NonNegativeLength = Field(
        0.0, description="how far the prongs reach into the wood above the seat"
    )
    recess: Length = Field(0.3, description="how far the flange lies below flush")
    clearance: NonNegativeLength = Field(
        0.2, description="added to the diameters of barrel and flange"
    )
    through: Flag = Field(
        False, description="the bore passes into the spoil board; else the deck pass opens it"
    )
    bolt_hole: PositiveLength | None = Field(
        None,
        description="diameter of the hole through the deck laminate over it; only on the "
        "template if not given",
    )

    @property
    def seat_width(self) -> float:
        """Width of the seat, mm: the flange and its clearance."""
        return self.flange + self.clearance

    @property
    def bore_diameter(self) -> float:
        """Diameter of the bore, mm: the barrel and its clearance."""
        return self.barrel + self.clearance


class DowelSection(Section):
    at: Point = Field(description="[x, y]")
    diameter: PositiveLength = Field(description="of the dowel and its hole")
    depth_in_bed: PositiveLength = Field(description="how deep it sits in the spoil board")
    stand: PositiveLength = Field(description="how far it stands above the bed")
    in_bed: Literal["drill", "there"] = Field(
        "drill",
        description="its hole in the spoil board: drilled with that in the blank, or there already",
    )

    @model_serializer(mode="wrap")
    def _keys_in_use(self, others: SerializerFunctionWrapHandler) -> dict[str, Any]:
        """All keys; `in_bed` only where a hole is there, so that it alone changes a digest."""
        keys: dict[str, Any] = others(self)
        if self.in_bed == "drill":
            del keys["in_bed"]
        return keys


class SkimSection(Section):
    step: PositiveLength = Field(0.5, description="depth of one pass")
    largest_step: PositiveLength = Field(
        1.0, description="largest depth of a pass while no casting can show"
    )
    overlap: Annotated[float, Field(strict=True, ge=0.05, le=0.8)] = Field(
        0.25, description="share of the cutter's diameter by which neighbouring lines overlap"
    )


class CastSection(Section):
    resin: str = Field("polyurethane", description="kind of resin, from the resin table")
    ratio: tuple[Positive, Positive] = Field((100.0, 90.0), description="parts A : B")
    ratio_by: Literal["weight", "volume"] = Field("weight", description="what the ratio counts")
    density: tuple[Positive, ...] = Field(
        (1.05, 1.10), min_length=1, max_length=2, description="of part A and B, g/cm³"
    )
    extra: NonNegative = Field(0.15, description="share mixed on top of the volume")
    shrinkage: Annotated[float, Field(strict=True, ge=0, lt=0.2)] = Field(
        0.005, description="linear shrinkage in curing"
    )
    gel_loss: Annotated[float, Field(strict=True, ge=0, lt=0.2)] | None = Field(
        None,
        description="share of its depth that a casting sinks before it gels; by kind of "
        "resin if not given",
    )
    fill_margin: NonNegativeLength = Field(
        0.5, description="resin that must stand above the finished deck"
    )
    pour_short: Length = Field(
        0.5,
        description="how far below the raw top the pour ends; negative where a dam lets it "
        "stand proud",
    )
    flush: Literal["none", "local", "face"] = Field(
        "none",
        description="plane proud resin off in A after the cure: not, round each casting, "
        "or the whole face",
    )
    flush_band: PositiveLength = Field(
        10.0, description="how far a local flush reaches beyond each casting"
    )
    _own: ResinSection | None = PrivateAttr(None)

    @property
    def own(self) -> ResinSection | None:
        """The row of the job's own resins that is cast; None for one of the table."""
        return self._own


class ResinSection(Section):
    name: str = Field(
        min_length=1, max_length=24, description="as in cast.resin; none of the table's names"
    )
    kind: str = Field(
        description="kind of resin, from the resin table, whose cautions and other figures hold"
    )
    ratio: tuple[Positive, Positive] | None = Field(None, description="parts A : B")
    ratio_by: Literal["weight", "volume"] | None = Field(None, description="what the ratio counts")
    density: tuple[Positive, ...] | None = Field(
        None, min_length=1, max_length=2, description="of part A and B, g/cm³"
    )
    shrinkage: Annotated[float, Field(strict=True, ge=0, lt=0.2)] | None = Field(
        None, description="linear shrinkage in curing"
    )
    gel_loss: Annotated[float, Field(strict=True, ge=0, lt=0.2)] | None = Field(
        None, description="share of its depth that a casting sinks before it gels"
    )
    pot_life: Positive | None = Field(None, description="minutes until a cup is poured")
    cup: Positive | None = Field(None, description="g mixed at once at most")
    layer: PositiveLength | None = Field(None, description="depth poured at once at most")


class HardwareSection(Section):
    name: str = Field(
        min_length=1, max_length=24, description="as in insert.hardware; none of the table's names"
    )
    thread: str | None = Field(None, description="of its bolt, such as M6, to check its bore")
    barrel: PositiveLength = Field(description="outer diameter of the barrel")
    flange: PositiveLength = Field(description="diameter of the flange")
    flange_thickness: PositiveLength = Field(description="thickness of the flange")
    length: PositiveLength = Field(description="over all, the flange included")
    prongs: NonNegativeLength = Field(
        0.0, description="how far the prongs reach into the wood above the seat"
    )


class SkinSection(Section):
    thickness: PositiveLength = Field(description="of the pre-made skin")
    modulus: Positive = Field(description="GPa")
    strain_limit: Positive = Field(description="share, e.g. 0.004")
    pressure: Positive = Field(description="bar, in the press or bag")
    poisson: Annotated[float, Field(strict=True, ge=0, lt=0.5)] = Field(
        0.3, description="Poisson's ratio in its plane"
    )
    average: PositiveLength | None = Field(
        None,
        description="length over which the pressure that it needs is averaged; 20 "
        "thicknesses if not given",
    )
    compression_limit: Positive | None = Field(
        None, description="share; beyond it a caution; from pressure and modulus if not given"
    )
    covers: Literal["blank", "board"] = Field(
        "blank",
        description="it covers the whole blank, or only the board and what layup.skin_outside "
        "reaches beyond it "
        "(groove.outside if not given)",
    )


class LayupSection(Section):
    rocker: tuple[tuple[Length, Length], ...] | None = Field(
        None,
        min_length=2,
        description="[x, rise] of the form's top, x along the level chord from the blank's middle",
    )
    cradle: Flag = Field(
        False, description="a cradle holds the laid-up board by its rocker while D is cut"
    )
    skin_below: NonNegativeLength = Field(
        0.0, description="thickness of the laminate under the core"
    )
    skin_above: NonNegativeLength = Field(0.0, description="thickness of the laminate on the deck")
    skin_outside: NonNegativeLength | None = Field(
        None,
        description="how far the laminates reach beyond the outline; if not given groove.outside, "
        "and with a cradle "
        "6 mm beyond the slot of the trim or more",
    )
    neutral: NonNegativeLength | None = Field(
        None,
        description="height in the core of the plane that keeps its length; half of "
        "board.thickness if not given",
    )
    neutral_error: NonNegativeLength = Field(
        1.0, description="by how much that height may be off, ±"
    )
    rib_spacing: PositiveLength = Field(
        150.0, description="largest distance between the ribs of the form"
    )
    rib_thickness: PositiveLength = Field(
        18.0, description="of the board that the ribs of the form are cut from"
    )
    rib_height: PositiveLength = Field(
        60.0,
        description="of the form at its lowest place above what it stands on, its covering "
        "included",
    )
    form_skin: NonNegativeLength = Field(
        0.0, description="thickness of a covering bent over the ribs of the form"
    )
    cradle_height: NonNegativeLength | None = Field(
        None,
        description="of the cradle at its lowest place above the bed that it stands on; "
        "rib_height if not given",
    )
    spring_back: Length = Field(
        0.0,
        description="how much less the ends of the board rise than those of the form once it is "
        "off the form; the cradle has that curve",
    )


HoldMethod = Literal["screws", "clamps", "tape", "vacuum"]


class HoldSection(Section):
    A: HoldMethod = Field("tape", description="how island and rim are held in A")
    B: HoldMethod = Field("vacuum", description="in B")
    C: HoldMethod = Field("vacuum", description="in C")
    least_height: PositiveLength = Field(
        3.0, description="least height of the casting that joins board and rim in B and C"
    )


class MachineSection(Section):
    travel: tuple[PositiveLength, PositiveLength, PositiveLength] = Field(
        description="[x, y, z] of the axes"
    )
    z_zero: Literal["bed", "face"] = Field("bed", description="what Z is touched on")
    second_zero: Literal["none", "G55"] = Field(
        "none",
        description="coordinate system that holds the zero of the inserts; with none it "
        "takes the place of G54",
    )
    touch_at: Point | None = Field(None, description="[x, y] on the board where a face is touched")
    xy_zero: Literal["middle", "front-left"] = Field(
        "middle", description="X, Y zero: middle or front-left corner of the blank"
    )
    flip_about: Literal["x", "y"] = Field(
        "x", description="axis about which the blank is turned over"
    )
    safe_z: Annotated[Length, Field(ge=5.0)] = Field(
        10.0, description="height of rapids above the highest of blank and obstacles"
    )
    arcs: Flag = Field(True, description="the control takes G2 and G3")
    exact_path: Flag = Field(False, description="the control keeps to the path with G61; else G64")
    canned_cycles: Flag = Field(False, description="the control takes G81 and G83")
    collet_diameter: PositiveLength = Field(
        40.0, description="largest diameter of collet, nut and spindle nose above the cutter"
    )
    tool_change: Literal["stop", "m6"] = Field(
        "stop", description="a stop to fit the cutter by hand, or M6"
    )
    length_offset: Flag = Field(
        False,
        description="with m6: the control holds each cutter's length, called by G43 H; else "
        "Z is touched anew",
    )
    rapid: PositiveLength = Field(6000.0, description="mm/min")
    accel: PositiveLength = Field(500.0, description="mm/s²")
    corner_deviation: PositiveLength = Field(
        0.02, description="by how much a corner may be rounded"
    )
    corner_time: Annotated[float, Field(strict=True, ge=0, le=5)] = Field(
        0.0,
        description="seconds that the control stands at a corner sharper than 30°; 0: it passes "
        "them; corepath record --minutes fits it",
    )
    spindle_power: Positive | None = Field(
        None, description="W, at the cutter; not judged if not given"
    )
    spindle_rpm: tuple[Positive, Positive] = Field(
        (8000.0, 24000.0), description="slowest and fastest"
    )
    spin_up: Positive = Field(4.0, description="seconds from M3 until the spindle is up to speed")
    spin_down: Positive = Field(8.0, description="seconds from M5 until it stands")
    probe: Literal["none", "stop", "zero"] = Field(
        "none",
        description="the control takes G38.2: stop where it touches and you set zero, or the file "
        "sets zero; writes touch/",
    )
    probe_reports: Literal["work", "machine"] | None = Field(
        None,
        description="coordinates in which the control keeps the touched place, #5061 to #5063; "
        "zero needs it",
    )
    probe_tip: PositiveLength | None = Field(
        None, description="diameter of the ball of a probe that fits the collet"
    )
    probe_plate: PositiveLength | None = Field(
        None, description="thickness of the plate that a cutter touches for Z"
    )
    probe_number: Annotated[int, Field(strict=True, ge=1, le=99999)] | None = Field(
        None, description="tool number of the probe, where the control holds its length"
    )

    @model_serializer(mode="wrap")
    def _keys_in_use(self, others: SerializerFunctionWrapHandler) -> dict[str, Any]:
        """All keys; those of a probe only where there is one and a corner time where it is not 0,
        so that they alone change a digest."""
        keys: dict[str, Any] = others(self)
        if self.corner_time == 0.0:
            keys.pop("corner_time", None)
        if self.probe == "none":
            keys = {name: value for name, value in keys.items() if not name.startswith("probe")}
        return keys

    @property
    def motion_limits(self) -> Limits:
        """Speeds and cornering of the machine, for the estimate of times."""
        from corepath.motion.clock import Limits

        return Limits(
            self.rapid, self.accel, self.corner_deviation, self.exact_path, self.corner_time
        )


class Tolerances(Section):
    """The size of each contributor; all defaults are common practice, no source."""

    thickness: NonNegativeLength = Field(
        0.10, description="thickness of the blank as measured, one figure, ±"
    )
    bed: NonNegativeLength = Field(0.05, description="height of the bed after facing, ±")
    flat: NonNegativeLength = Field(0.10, description="gap under the blank as held, one-sided")
    bending: NonNegativeLength = Field(
        0.3,
        description="largest cup, bow or twist of a measured blank that the places measured "
        "may not show",
    )
    touch: NonNegativeLength = Field(0.05, description="touching off Z, ±")
    machine: NonNegativeLength = Field(0.03, description="positioning of the machine in Z, ±")
    probe: NonNegativeLength = Field(
        0.03, description="a height touched by a probe, Z of the bed by it included, ±"
    )
    gauge: NonNegativeLength = Field(0.03, description="a depth gauge or callipers, one reading, ±")
    level: NonNegative = Field(
        1.0, description="the blank out of level while the resin cures; mm/m in an inch job too"
    )
    shrinkage: Annotated[float, Field(strict=True, ge=0, lt=0.2)] = Field(
        0.0025, description="of the linear shrinkage, ±"
    )
    gel_loss: Annotated[float, Field(strict=True, ge=0, lt=0.2)] = Field(
        0.01, description="of what is lost before the resin gels, share of the depth, ±"
    )
    pour_line: NonNegativeLength = Field(0.2, description="pouring to the pour line by eye, ±")
    dowel_play: NonNegativeLength = Field(0.05, description="play of the dowels, ±")
    cutter_diameter: NonNegativeLength = Field(0.03, description="of a cutter's diameter, ±")
    flip_axis: NonNegativeLength = Field(0.05, description="place of the flip axis, ±")
    moisture: NonNegative = Field(
        1.0, description="change of the wood's moisture content since A, ± %"
    )
    accept: Annotated[float, Field(strict=True, ge=0.90, le=0.999)] | None = Field(
        None,
        description="share of cores that must come out for G-code to be written although checks of "
        "the core's depths fail; verdicts stay, and each file names the risk",
    )

    @model_serializer(mode="wrap")
    def _keys_in_use(self, others: SerializerFunctionWrapHandler) -> dict[str, Any]:
        """All keys; `accept` and `probe` only where they are given, so that they alone change a
        digest."""
        keys: dict[str, Any] = others(self)
        if "probe" not in self.model_fields_set:
            keys.pop("probe", None)
        if self.accept is None:
            keys.pop("accept", None)
        return keys


class CutterSection(Section):
    number: Annotated[int, Field(strict=True, ge=1, le=99999)] = Field(description="tool number")
    shape: Shape = Field(description="form of the end")
    diameter: PositiveLength = Field(description="cutting diameter")
    corner_radius: NonNegativeLength = Field(0.0, description="of a bull-nosed cutter")
    taper_angle: Annotated[float, Field(strict=True, ge=0, le=30)] = Field(
        0.0, description="of a tapered ball, degrees a side; its diameter is that of the ball"
    )
    flutes: Annotated[int, Field(strict=True, ge=1, le=12)] = Field(
        2, description="number of cutting edges"
    )
    cutting_length: PositiveLength = Field(description="length of the edges")
    stick_out: PositiveLength = Field(description="stick-out: length out of the collet")
    shank: PositiveLength | None = Field(
        None,
        description="diameter of the shank; the cutting one if not given. A tapered ball gets no "
        "wider, and without it as wide as its cone is at the end of its edges",
    )
    chip_load: PositiveLength | None = Field(
        None,
        description="feed per tooth in a full-width cut; by wood and diameter from a table "
        "if not given",
    )
    rpm: Positive | None = Field(
        None, description="spindle speed; by diameter and cutting speed from a table if not given"
    )
    feed: PositiveLength | None = Field(
        None,
        description="feed sideways, mm/min (in/min); wins over the chip load, finishing laps "
        "included",
    )
    depth_a_pass: PositiveLength | None = Field(
        None, description="largest depth of one layer; half the diameter if not given"
    )
    plunge_share: Annotated[float, Field(strict=True, gt=0, le=1)] = Field(
        0.33, description="plunge feed as a share of the feed; a drill goes down at all of it"
    )
    ramp_share: Annotated[float, Field(strict=True, gt=0, le=1)] | None = Field(
        None,
        description="feed down ramps and helices as a share; 0.5, or plunge_share if more, "
        "if not given",
    )
    stepover: PositiveLength | None = Field(
        None,
        description="largest width of cut beside a full-width first lap; 0.4 of the diameter "
        "if not given",
    )
    helix: Helix = Field(
        "up", description="up-cut flutes lift chips and wood, down-cut flutes press them down"
    )
    centre_cutting: Flag = Field(
        False, description="has edges to its centre, so that it may plunge into solid wood"
    )
    ramp_angle: Annotated[float, Field(strict=True, gt=0, le=45)] = Field(
        3.0, description="steepest ramp or helix into solid wood, degrees"
    )
    material: Material = Field("carbide", description="for its stiffness")
    _listed: float | None = PrivateAttr(None)

    @property
    def listed(self) -> float:
        """The diameter listed in the job, mm, also after a measured one has replaced it."""
        return self.diameter if self._listed is None else self._listed

    @property
    def cutter(self) -> Cutter:
        """The cutter as planning uses it, made of the keys of the same names."""
        return Cutter(**{one.name: getattr(self, one.name) for one in fields(Cutter)})

    @model_serializer(mode="wrap")
    def _keys_of_its_shape(self, others: SerializerFunctionWrapHandler) -> dict[str, Any]:
        """All keys but those of sizes that it has not, so that only cutters which have them change
        a digest."""
        keys: dict[str, Any] = others(self)
        for key in missing_sizes(self.shape):
            keys.pop(key, None)
        return keys

    def as_measured(self, diameter: float) -> CutterSection:
        """Return the same cutter with its measured diameter, mm."""
        # keeps the diameter of the job file, also where this cutter had been measured before
        found = self.model_copy(update={"diameter": diameter})
        found._listed = self.listed
        return found


class ObstacleSection(Section):
    points: tuple[Point, ...] = Field(
        min_length=3, description="[x, y] corners, board frame as it lies in that set-up"
    )
    height: PositiveLength = Field(
        description="above the bed; in D above the bed that the cradle stands on"
    )
    setups: tuple[SetupLetter, ...] = Field(
        ("A", "B", "C"), min_length=1, description="where it is present"
    )
    sawn_off: Flag = Field(
        False, description="what it keeps the skim from reaching is sawn off before C"
    )


class ScrewSection(Section):
    at: tuple[Point, ...] = Field(
        min_length=1, description="[[x, y], …] of each, board frame as it lies in that set-up"
    )
    head: PositiveLength = Field(description="diameter of the head or its washer")
    head_height: PositiveLength = Field(description="height of the head, a washer included")
    counterbore: NonNegativeLength = Field(
        0.0, description="depth of its counterbore below the face that lies up"
    )
    setups: tuple[SetupLetter, ...] = Field(
        ("A",), min_length=1, description="where it holds the blank"
    )


class TrimSection(Section):
    allowance: NonNegativeLength = Field(0.0, description="left outside the outline")
    finish: NonNegativeLength = Field(
        0.3, description="what the roughing laps leave for the finishing lap"
    )
    web: NonNegativeLength = Field(
        0.5, description="thickness of the web left under the trim, to be cut by hand"
    )


class MillingSection(Section):
    direction: Literal["climb", "conventional"] = Field(
        "climb",
        description="climb: each chip begins thick and ends thin; conventional: it begins thin",
    )
    finish_allowance: NonNegativeLength = Field(
        0.2,
        description="what clearing leaves on the walls of groove and pockets for a finishing "
        "lap; 0 for none",
    )
    light_layer: PositiveLength = Field(
        0.3, description="depth of the last layer over a thin floor"
    )
    into_bed: PositiveLength = Field(
        1.0, description="how far a through bore ends in the spoil board"
    )
    break_through: PositiveLength = Field(
        1.0, description="height above the place of break-through where feeds slow"
    )


class Job(Section):
    """The whole job, in mm. `units` is what the file was written in."""

    title: str = Field(min_length=1, max_length=60)
    units: Literal["mm", "inch"] = "mm"
    # All that the file says is in the sections below by the time a job is read, so a plan's folder
    # needs no shop file.
    shop: str | None = Field(
        None,
        min_length=1,
        max_length=400,
        exclude=True,
        description="TOML file with what the jobs of a shop share, relative to the job file",
    )
    # Likewise: a copy is read as the job that it is a copy of, under its own name.
    copy_of: str | None = Field(
        None,
        min_length=1,
        max_length=200,
        exclude=True,
        description="job in the same folder whose keys this one has, but for those it gives itself",
    )
    board: BoardSection
    outline: OutlineSection
    deck: DeckSection
    blank: BlankSection
    groove: GrooveSection
    plug: tuple[PlugSection, ...] = ()
    insert: tuple[InsertSection, ...] = ()
    dowel: tuple[DowelSection, ...] = Field(min_length=2)
    skim: SkimSection = SkimSection()
    cast: CastSection = CastSection()
    skin: SkinSection | None = None
    layup: LayupSection | None = None
    hold: HoldSection = HoldSection()
    machine: MachineSection
    tolerances: Tolerances = Tolerances()
    cutter: tuple[CutterSection, ...] = Field(min_length=1)
    obstacle: tuple[ObstacleSection, ...] = ()
    screw: tuple[ScrewSection, ...] = ()
    milling: MillingSection = Field(default_factory=lambda: MillingSection())
    trim: TrimSection | None = None
    limits: LimitsSection = Field(default_factory=lambda: LimitsSection())
    resin: tuple[ResinSection, ...] = ()
    hardware: tuple[HardwareSection, ...] = ()
    bed: BedSection | None = None

    @model_validator(mode="after")
    def _cast_knows_its_resin(self) -> Self:
        own = next((row for row in self.resin if row.name == self.cast.resin), None)
        if own is not None:  # the default, which all jobs share, is never changed
            self.cast._own = own
        return self

    @model_serializer(mode="wrap")
    def _tables_in_use(self, others: SerializerFunctionWrapHandler) -> dict[str, Any]:
        """All keys; own resins, own hardware and the bed only where they are given, so that they
        alone change a digest."""
        keys: dict[str, Any] = others(self)
        for name in ("resin", "hardware", "bed"):
            if not keys[name]:
                del keys[name]
        return keys

    @property
    def core_thickness(self) -> float:
        """Largest thickness of the core as designed, mm; the deck as modelled may be a little
        thinner."""
        return self.board.thickness

    def floor_of(self, plug: PlugSection) -> float:
        """Return the height of the floor of a plug's pockets above the bed in A, mm: that of the
        groove unless the plug gives its own."""
        return self.groove.floor if plug.floor is None else plug.floor

    def without_cutters(self, numbers: Collection[int]) -> Job:
        """Return the job without the cutters of these numbers."""
        left = tuple(cutter for cutter in self.cutter if cutter.number not in numbers)
        return self.model_copy(update={"cutter": left})

    def with_cutters(self, diameters: Mapping[int, float]) -> Job:
        """Return the job with measured diameters (mm, by number) of its cutters, except drills."""
        # No path makes the hole of a drill larger or smaller, so its listed diameter stays.
        cutters = tuple(
            cutter.as_measured(diameters[cutter.number])
            if cutter.number in diameters and cutter.shape != "drill"
            else cutter
            for cutter in self.cutter
        )
        return self.model_copy(update={"cutter": cutters})


class LimitsSection(Section):
    """Limits of the checks that have no key of their own elsewhere."""

    window: Length = Field(0.0, description="least window")
    seat: Length = Field(0.1, description="least recess of a flange")
    wood_over_seat: Length = Field(2.0, description="least wood over a seat")
    barrel: Length = Field(0.5, description="least wood between the barrel's end and the deck")
    spacing: Length = Field(
        3.0, description="least wood between groove, plugs, seats, dowels and the blank's edge"
    )
    dowels: Length = Field(0.5, description="least room over and around the dowels")
    registration: Length = Field(2.0, description="least casting left at the edge and round a bolt")
    under_holes: Length = Field(
        2.0, description="least of the spoil board left under a hole that passes into it"
    )
    web: Length = Field(
        3.0,
        description="least width beyond the slot of the trim of what holds the board by its web",
    )
    beyond: Length = Field(
        0.0, description="least finished deck beyond where skin and bag reach, with deck.beyond"
    )
    deflection: PositiveLength = Field(
        0.05, description="largest bending of a cutter on a finished wall"
    )


Job.model_rebuild()
