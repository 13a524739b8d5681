"""The commands: each parses, calls, prints, and chooses the exit code; nothing is calculated
here."""

from __future__ import annotations

__all__ = ["main"]


def main() -> None:
    """Run the `corepath` command: its entry point.

    Raises SystemExit with the exit code.
    """
    try:
        import gc
        import os

        # Our matrices are small: more than one thread only wait for each other, up to eight times
        # as long where another process uses the cores too. OpenBLAS reads the variable once, when
        # numpy is loaded, so it is set before.
        os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
        from corepath.cli.app import run
        from corepath.cli.cache import settle_cache
        from corepath.memory import settle_memory

        settle_cache(os.environ)
        settle_memory()
        # A plan makes a million objects that live as long as it does. As often as Python looks for
        # garbage among them by itself, that takes a twelfth of the whole time and finds none.
        gc.set_threshold(50_000, 20, 10)
        run()
    except KeyboardInterrupt:
        raise SystemExit(130) from None
