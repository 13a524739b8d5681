"""STUB until the record lands."""
from __future__ import annotations
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Mapping
@dataclass(frozen=True)
class Settled:
    thickness: tuple[tuple[float,float,float],...]=()
    thickness_after: tuple[tuple[float,float,float],...]=()
    groove_depth: tuple[tuple[float,float,float],...]=()
    pocket_depth: Mapping[str,float]=field(default_factory=dict)
    fill: Mapping[str,float]=field(default_factory=dict)
    voids: tuple[str,...]=()
    leaks: tuple[str,...]=()
    stop: int|None=None
    touches: Mapping[str,float]=field(default_factory=dict)
    widths: Mapping[str,float]=field(default_factory=dict)
    coupon_diameter: Mapping[int,float]=field(default_factory=dict)
    coupon_z: float|None=None
    coupon_groove_width: float|None=None
    cut: frozenset[str]=frozenset()
    def as_dict(self): return {}
    @staticmethod
    def from_dict(d): return Settled()
class Record:
    def settled(self): return Settled()
def load_record(path): return Record()
