"""What to do about each kind of finding, in a few words; docs/readback.md has the same table."""

from __future__ import annotations

__all__ = ["FINDING_FIXES"]

FINDING_FIXES: dict[str, str] = {
    "after-end": "take away what follows M2, or find out what was left out before it",
    "arc-mismatch": "look for a digit lost in I, J, X or Y; do not run it, controls differ in what "
    "they cut",
    "below-lowest": "check the line's Z and the zero; plan again",
    "block-delete": "take the / away, or the line",
    "bore-closed": "check the flip axis and the depth of the bore; plan again",
    "changed": "run the planned file, or plan again; never an edited one",
    "collet": "a cutter that sticks out farther, or keep away from what stands there",
    "deck-height": "check zero, cutter and stepover of the deck; plan again",
    "direction": "set milling.direction as it is wished and plan again",
    "engagement": "a smaller stepover; plan again",
    "feed-missing": "state F before the first cut",
    "feed-too-high": "look for a digit too many in F; plan again",
    "feed-too-low": "look for a digit lost in F; plan again",
    "first-way": "plan again; a file by hand: G1 and M0 at its head, clear of everything under "
    "either zero",
    "floor": "check the line's Z and the cutter's length; plan again",
    "layer-missed": "look for lines left out of the layer above; plan again",
    "length-offset": "call the offset of the cutter in the spindle, or none, as "
    "machine.length_offset says",
    "load": "see that the file before it was run, no layer is missing and the blank is as thick as "
    "planned",
    "missing-end": "end with M2; look whether the file was cut short when copied",
    "missing-file": "plan again; copy the whole folder",
    "missing-stop": "put M0 there with the spindle off and Z up; plan again",
    "mixed-plans": "take all files from one plan's folder and its sheet",
    "not-reached": "look for lines left out; plan again, with a smaller cutter if it is a corner",
    "obstacle": "move the obstacle, or tell the job where it stands",
    "order": "give the file its own name back; cut in the order of the numbers",
    "outside-area": "check the line's X and Y, the zero and the cutter; plan again",
    "peck": "shorter pecks; plan again",
    "path-mode": "G61 or G64, as machine.exact_path says; plan again",
    "plane": "check the line's Z, and that the lines cover the whole blank; plan again",
    "plunge": "a cutter that cuts to its centre, or let it go down on a ramp",
    "plunge-at-rapid": "G1 with a feed for the last of the way down",
    "preamble": "state all modes before the first move",
    "rapid-through-material": "lift to the safe height first; G1 where it is to cut",
    "rehearsal": "plan again; do not run it",
    "touch": "plan again; do not run it",
    "seat": "check the hole's lines and the cutter's diameter; plan again",
    "speed-off": "S as planned for this cutter",
    "spindle-not-up": "G4 after M3, as long as the spindle needs",
    "spindle-off": "S and M3 before the first cut",
    "spoil-board": "check the line's Z, the zero and the thickness of the spoil board",
    "start-unknown": "give X, Y and Z by rapids above the stock first",
    "steep-ramp": "a longer ramp; plan again",
    "stop-low": "lift Z above the stock first",
    "stop-with-spindle-on": "M5 before the stop, and time for the spindle to stand",
    "syntax": "set the line right by NIST IR 6556; a control may refuse it, or take it otherwise",
    "too-deep-for-cutter": "a cutter with longer edges, or less deep",
    "travel": "check the line, the zero and machine.travel; turn the blank",
    "units": "G20 or G21 on a line of its own before any number",
    "unknown-cutter": "call a cutter of the job by T, or add it to the job",
    "unsupported": "write it out in plain moves",
    "width": "check the cutter's diameter and the line; plan again",
    "words": "do not run it; take the file from the plan's folder, or plan again",
    "wrong-cutter": "fit and call the cutter that the operation was planned for",
    "zero": "set the zero as the head says; if head and blank differ, measure the blank and plan "
    "again",
}
