"""The commands: each parses, calls, prints, and chooses the exit code; nothing is worked out here."""

from __future__ import annotations

__all__ = ["main"]


def main() -> None:
    """Entry point of the `corepath` command."""
    try:
        import os

        from corepath.cli.app import run
        from corepath.cli.cache import settle_cache

        settle_cache(os.environ)
        run()
    except KeyboardInterrupt:
        raise SystemExit(130) from None
