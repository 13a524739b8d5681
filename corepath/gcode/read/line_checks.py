"""Checks whether a block may be executed: letters that nothing uses, values out of range, modes
that exclude each other.

Source: NIST IR 6556 (2000), sections 3.3 and 3.5. All is checked before anything is done, so that a
line that is not allowed leaves the state of the machine as it was.
"""

from __future__ import annotations

from corepath.gcode.read.blocks import Block, g_name, near_integer
from corepath.gcode.read.canned_cycles import CYCLES
from corepath.gcode.read.modal_state import ModalState

__all__ = ["HOMES", "Wrong", "check_block", "motion_code", "only_states"]

HOMES = (280, 300)
"""G28 and G30."""


class Wrong(Exception):
    """Raised for a line that is not allowed, with the reason; it is left out, and reading goes
    on."""


def only_states(code: int, block: Block) -> bool:
    """Tell whether a line only names G0 to G3 and moves nothing: many controls take it, RS-274 does
    not (3.5.1)."""
    bare = not block.has_axes and not {"I", "J", "K", "R"} & block.words.keys()
    return (
        bare and code in (0, 10, 20, 30) and "motion" in block.g and block.g.get("non-modal") != 530
    )


def check_block(machine: ModalState, block: Block) -> None:
    """Check that a block may be executed in the machine's present state.

    Raises Wrong where it may not; what is only worth a finding goes to the machine's notes.
    """
    words, g = block.words, block.g
    _check_letters(machine, block)
    if g.get("non-modal") == 40 and words.get("P", -1.0) < 0.0:
        raise Wrong("G4 needs P, seconds, not negative")
    for letter, name in (
        ("S", "a speed"),
        ("F", "a feed"),
        ("T", "a tool number"),
        ("H", "an offset index"),
    ):
        if words.get(letter, 0.0) < 0.0:
            raise Wrong(f"{name} cannot be negative")
    if "T" in words and near_integer(words["T"]) is None:
        raise Wrong("a tool number is an integer")
    _check_offset(machine, block)
    # What follows concerns lines that move.
    code = motion_code(machine, block)
    if code is None or only_states(code, block):
        return
    if code == 800:
        if block.has_axes:
            raise Wrong("axis words while no motion is active (G80)")
        return
    inverse = g.get("feed mode", 930 if machine.inverse_time else 940) == 930
    if inverse and code in (10, 20, 30) and "F" not in words:
        raise Wrong("with G93 each line that cuts needs its own F")
    if inverse and code in CYCLES:
        raise Wrong("a cycle cannot run with G93")
    if not block.has_axes:
        raise Wrong(f"{g_name(code)} without X, Y or Z")
    if g.get("non-modal") == 530 and code not in (0, 10):
        raise Wrong("G53 needs G0 or G1")


def _check_offset(machine: ModalState, block: Block) -> None:
    """Check G43: it needs an index, and the offset of another cutter than the one in the spindle
    shifts every height."""
    if block.g.get("length offset") != 430:
        return
    index = near_integer(block.words.get("H", -1.0))
    if index is None or index < 0:
        raise Wrong("G43 needs H, a whole number")
    # T on the same line comes first (Table 8 of the standard); H0 is no offset.
    tool = round(block.words["T"]) if "T" in block.words else machine.selected
    if index and tool is not None and index != tool:
        machine.notes.append(("length-offset", f"the offset H{index} while the cutter is T{tool}"))


def _check_letters(machine: ModalState, block: Block) -> None:
    words, g = block.words, block.g
    code = motion_code(machine, block)
    dwell = g.get("non-modal") == 40
    used = {
        "I": code in (20, 30), "J": code in (20, 30), "K": False,
        "R": code in (20, 30) or code in CYCLES, "P": dwell or code in (820, 890),
        "Q": code == 830, "L": code in CYCLES,
        "H": g.get("length offset") == 430, "D": False,
    }  # fmt: skip
    for letter in "IJKRPQLHD":
        if letter in words and not used[letter]:
            raise Wrong(f"nothing on the line uses the {letter} word")
    if code is None and block.has_axes and g.get("non-modal") not in HOMES:
        raise Wrong("axis words, but no motion mode was stated")


def motion_code(machine: ModalState, block: Block) -> int | None:
    """Return the G code (times ten) of the motion that the line asks for, stated or in force, or
    None where it moves nothing.

    Raises Wrong where a return home (G28, G30) and a motion stand in one line.
    """
    explicit = block.g.get("motion")
    if block.g.get("non-modal") in HOMES:
        if explicit is not None:
            raise Wrong("G28 or G30 and a motion both want the axis words")
        return None
    if explicit is not None:
        return explicit
    if not block.has_axes:
        return (
            machine.motion
            if {"I", "J", "R"} & block.words.keys() and machine.motion in (20, 30)
            else None
        )
    return machine.motion
