"""The commands: each parses, calls, prints, and chooses the exit code; nothing is worked out
here."""

from __future__ import annotations

__all__ = ["main"]


def main() -> None:
    """Entry point of the `corepath` command."""
    try:
        import os

        # Our matrices are small: more threads than one only wait for each other, up to eight times
        # as long where another process wants the cores too. It has to be said before numpy is
        # loaded.
        os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
        from corepath.cli.app import run
        from corepath.cli.cache import settle_cache

        settle_cache(os.environ)
        run()
    except KeyboardInterrupt:
        raise SystemExit(130) from None
