"""All heights of the stack-up as lengths with named errors.

Terms as in the relations (docs/arithmetic.md): T thickness of the blank; gA, gB, gC the gap under it as
held (nominally zero, one-sided); f height of a pocket's floor above the bed in A; D depth of a pocket
from the raw top; s plane of the skim above the bed in B; h height of the deck above the bed in C; p how
far the cured resin lies below the raw top. Heights are above the bed *under that place*, mm.

A commanded height comes out with the errors of touching off, of the machine and of the bed. With the
zero on the bed these are all. With the zero on a face, thickness and gap at the touched place enter too.
"""

from __future__ import annotations

from dataclasses import dataclass

from corepath.job.model import Job
from corepath.stackup.linear import Linear

__all__ = ["Heights"]


@dataclass(frozen=True, slots=True)
class Heights:
    """The heights of one job. `Linear` results carry every contributor by name."""

    job: Job

    @property
    def thickness_tolerance(self) -> float:
        given = self.job.blank.tolerance
        return self.job.tolerances.thickness if given is None else given

    @property
    def _face(self) -> bool:
        return self.job.machine.z_zero == "face"

    def thickness(self, where: str = "") -> Linear:
        """T. `where` names another place, where the blank may differ from here."""
        return self.job.blank.thickness + Linear.term(f"thickness{where}", self.thickness_tolerance)

    def gap(self, setup: str, where: str = "") -> Linear:
        """gA, gB or gC."""
        return Linear.gap(f"lying flat in {setup}{where}", self.job.tolerances.flat)

    def bed(self, setup: str, where: str = "") -> Linear:
        """Height of the bed under one place; A and C lie on the same place, B on its mirror image."""
        return Linear.term(f"bed{' in B' if setup == 'B' else ''}{where}", self.job.tolerances.bed)

    def _reached(self, operation: str) -> Linear:
        tolerances = self.job.tolerances
        return Linear.term(f"touch for {operation}", tolerances.touch) + Linear.term(
            f"machine in {operation}", tolerances.machine
        )

    def floor(self, height: float, operation: str) -> Linear:
        """f: the floor that `operation` leaves in A, above the bed under it."""
        reached = height + self._reached(operation) - self.bed("A")
        if not self._face:
            return reached
        touch = " at the touch"
        blank = Linear.term(f"thickness{touch}", self.thickness_tolerance)
        return reached + blank + self.gap("A", touch) + self.bed("A", touch)

    def wood_under(self, height: float, operation: str) -> Linear:
        """Wood left under a floor: f - gA."""
        return self.floor(height, operation) - self.gap("A")

    def depth(self, height: float, operation: str) -> Linear:
        """D: depth of a pocket below the raw top, T + gA - f."""
        return self.thickness() + self.gap("A") - self.floor(height, operation)

    def shows_at(self, height: float, operation: str) -> Linear:
        """The highest skim plane at which a casting shows: D + gB."""
        return self.depth(height, operation) + self.gap("B")

    def plane(self, height: float) -> Linear:
        """s: the plane that a skim pass to `height` leaves, above the bed under it."""
        reached = height + self._reached("skim") - self.bed("B")
        if not self._face:
            return reached
        touch = " at the touch"
        blank = Linear.term(f"thickness{touch}", self.thickness_tolerance)
        return reached + blank + self.gap("B", touch) + self.bed("B", touch)

    def deck(self, height: float, stop: float) -> Linear:
        """h: what the deck pass leaves above the bed, where it should be `height`.

        `stop` is the plane the skim stopped at: with the zero on the face, what the skim left at the
        touched place enters.
        """
        reached = height + self._reached("deck") - self.bed("C")
        if not self._face:
            return reached
        touch = " at the touch"
        left = self.plane(stop) - stop - self.gap("B", touch) + self.gap("C", touch)
        return reached + left + self.bed("C", touch)

    def after_skim(self, stop: float, where: str = "") -> Linear:
        """The raw top above the bed in C, after a skim to `stop`: s - gB + gC."""
        return self.plane(stop) - self.gap("B", where) + self.gap("C", where)

    def clean_up(self, height: float, stop: float) -> Linear:
        """Wood that the deck pass removes where the deck is `height` high: s - gB + gC - h."""
        return self.after_skim(stop) - self.deck(height, stop)

    def finished(self, height: float, stop: float) -> Linear:
        """Finished thickness: h - gC."""
        return self.deck(height, stop) - self.gap("C")

    def seat(self, depth: float) -> Linear:
        """Depth of a seat below the skimmed face; hangs on one touch only."""
        return depth + self._reached("inserts")

    def resin_low(self, depth: float, half_span: float) -> Linear:
        """p: how far the cured resin lies below the raw top at its lowest point.

        pour_short + shrinkage x depth + out of level x half its span; the level counts in full, since
        the lowest point is what is asked for.
        """
        cast, tolerances = self.job.cast, self.job.tolerances
        expected = cast.pour_short + cast.shrinkage * depth + tolerances.level / 1000.0 * half_span
        return expected + Linear.term("shrinkage", tolerances.shrinkage) * depth
