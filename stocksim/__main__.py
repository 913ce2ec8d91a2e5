"""The way into the command line, also as ``python -m stocksim``."""

from __future__ import annotations

import gc


def main() -> None:
    """Read the command line's modules without looking for unused objects between, then run it."""
    gc.disable()  # all that is read stays
    from stocksim.faces.cli import main as run

    gc.freeze()
    gc.enable()
    run()


if __name__ == "__main__":
    main()
