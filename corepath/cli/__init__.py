"""The commands: each parses, calls, prints, and chooses the exit code; nothing is calculated
here."""

from __future__ import annotations

__all__ = ["main"]


def main() -> None:
    """Run the `corepath` command: its entry point."""
    try:
        import os

        # Our matrices are small: more than one thread only wait for each other, up to eight times
        # as long where another process uses the cores too. OpenBLAS reads the variable once, when
        # numpy is loaded, so it is set before.
        os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
        from corepath.cli.app import run
        from corepath.cli.cache import settle_cache

        settle_cache(os.environ)
        run()
    except KeyboardInterrupt:
        raise SystemExit(130) from None
