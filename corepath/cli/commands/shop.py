"""`corepath shop`: what the records of a shop's boards tell about its machine, bed and cutters."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from corepath.cli.completing import jobs
from corepath.cli.guard import as_json, guarded, say
from corepath.cli.options import json_option

__all__ = ["shop"]


def shop(
    shop_file: Annotated[
        Path,
        typer.Argument(
            metavar="SHOP.toml",
            help="The shop file.",
            show_default=False,
            autocompletion=jobs,
        ),
    ],
    past: Annotated[
        list[Path] | None,
        typer.Argument(
            metavar="JOB.toml",
            help="Jobs of past boards; those beside the shop file and one folder below if none.",
            show_default=False,
            autocompletion=jobs,
        ),
    ] = None,
    learned: Annotated[
        bool,
        typer.Option("--learned", help="What past boards tell, as values to type."),
    ] = False,
    json: Annotated[bool, json_option("what was learned as JSON instead of tables")] = False,
) -> None:
    """Tell what the records of past boards say of the shop.

    Of touch, bed, blanks, cutters and the clock. With --learned: the tolerances that follow, each
    with how sure it is. Nothing is changed.
    """
    with guarded(json_wanted=json):
        from corepath.errors import Fault, InputError

        if not learned:
            allowed = f"corepath shop --learned {shop_file}"
            raise InputError([Fault("shop", "is not told what to do", allowed=allowed)])
        from corepath.cli.tables.learned_table import learned_text
        from corepath.planning.learning.learned import learn

        found = learn(shop_file, past or ())
        say(as_json(found.as_dict()) if json else learned_text(found, shop_file))
