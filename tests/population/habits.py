"""Keys that most people leave alone: a shop's own tolerances, limits written out, times of its
spindle.

They are drawn by a chance of their own, so that the rest of a job does not hang on them. Limits
stand at their defaults, tolerances lie evenly about theirs.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from typing import Any

from tests.population.chance import Chance
from tests.population.toml_text import Mm

__all__ = ["add_habits"]

_TOLERANCES = {
    "thickness": 0.1, "bed": 0.05, "flat": 0.1, "bending": 0.3, "touch": 0.05, "machine": 0.03,
    "gauge": 0.03, "pour_line": 0.2, "dowel_play": 0.05, "cutter_diameter": 0.03,
    "flip_axis": 0.05,
}  # fmt: skip
_SHARES = {"shrinkage": 0.0025, "gel_loss": 0.01, "level": 1.0}
_LIMITS = {
    "window": 0.0, "seat": 0.1, "wood_over_seat": 2.0, "barrel": 0.5, "spacing": 3.0,
    "dowels": 0.5, "registration": 2.0, "under_holes": 2.0, "web": 3.0, "deflection": 0.05,
}  # fmt: skip


def add_habits(chance: Chance, job: dict[str, Any], files: Mapping[str, bytes]) -> bool:
    """Adds to some jobs what their maker knows of the shop; tells whether it did."""
    if not chance.yes(0.3):
        return False
    share = chance.even(0.8, 1.2, 0.05)
    job["tolerances"] = {
        **{key: Mm(round(share * value, 4)) for key, value in _TOLERANCES.items()},
        **{key: round(share * value, 5) for key, value in _SHARES.items()},
    }
    job["groove"]["leak_floor"] = Mm(0.2)
    job["limits"] = {key: Mm(value) for key, value in _LIMITS.items()}
    job["machine"]["spin_up"] = chance.even(2.0, 8.0, 0.5)
    job["machine"]["spin_down"] = chance.even(4.0, 12.0, 0.5)
    job.setdefault("milling", {})["into_bed"] = Mm(chance.even(0.6, 1.4))
    job.setdefault("hold", {})["least_height"] = Mm(3.0)
    job["cast"]["gel_loss"] = chance.even(0.0, 0.02, 0.005)
    for cutter in job["cutter"]:
        if cutter["shape"] != "drill":
            cutter["ramp_share"] = chance.even(0.3, 0.5, 0.05)
            cutter["shank"] = cutter["diameter"]
            if {"chip_load", "rpm", "flutes"} <= cutter.keys():
                turned = float(cutter["chip_load"]) * cutter["flutes"] * cutter["rpm"]
                fastest = float(job["machine"].get("rapid", 3000.0))
                cutter["feed"] = Mm(min(round(0.95 * turned), fastest))
    if chance.yes(0.2):
        job["cutter"].append(_taper(chance, max(one["number"] for one in job["cutter"]) + 1))
    _of_parts(chance, job, files)
    return True


def _taper(chance: Chance, number: int) -> dict[str, Any]:
    """A tapered ball among the cutters, which finishes the deck where it is the quickest."""
    return {
        "number": number, "shape": "taper", "diameter": Mm(chance.one_of((2.0, 3.0))),
        "taper_angle": chance.even(3.0, 8.0, 0.5), "flutes": 2, "cutting_length": Mm(20.0),
        "stick_out": Mm(30.0), "shank": Mm(6.0), "chip_load": Mm(0.03),
    }  # fmt: skip


def _of_parts(chance: Chance, job: dict[str, Any], files: Mapping[str, bytes]) -> None:
    """What is said of skin, form, hardware and files, where the job has them."""
    if "skin" in job:
        job["skin"] |= {"poisson": 0.3, "average": Mm(20.0 * float(job["skin"]["thickness"]))}
        job["skin"]["compression_limit"] = chance.even(0.004, 0.01, 0.001)
    if "layup" in job:
        job["layup"] |= {
            "neutral": Mm(round(float(job["board"]["thickness"]) / 2.0, 2)),
            "neutral_error": Mm(chance.even(0.3, 1.0)),
        }
        if job["layup"].get("cradle") and "rib_height" in job["layup"]:
            job["layup"]["cradle_height"] = job["layup"]["rib_height"]
        rises = [float(rise) for _, rise in job["layup"].get("rocker", [])]
        if len(rises) > 2 and job["layup"].get("cradle"):
            # a twentieth of what the form rises: well below what it rises over its chord
            back = round(0.05 * (max(rises) - min(rises)), 2)
            job["layup"]["spring_back"] = Mm(back)
        if not job["layup"].get("cradle"):
            job["layup"]["skin_outside"] = job["groove"]["outside"]
    for insert in job.get("insert", []):
        if "hardware" not in insert and "prongs" not in insert:
            insert["prongs"] = Mm(0.0)
    for screw in job.get("screw", []):
        screw["counterbore"] = Mm(chance.even(0.0, 1.0, 0.5))
    if "dxf" in (outline := job["outline"]):
        outline |= {"join": Mm(0.05), "template": outline["dxf"]}
        outline |= {"template_layer": outline["layer"], "template_at": [Mm(0.0), Mm(0.0)]}
        if "dxf_units" in outline:
            outline["template_units"] = outline["dxf_units"]
    source = job["deck"].get("mesh") or job["deck"].get("grid")
    if source in files:
        job["deck"]["sha256"] = hashlib.sha256(files[source]).hexdigest()
