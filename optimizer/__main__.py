"""Entry point of the ``layerwright`` command and of ``python -m optimizer``."""

from __future__ import annotations

import sys


def main() -> None:
    """Run the command line; ends the process with its exit status."""
    from optimizer.cli.app import app
    from optimizer.cli.guard import guarded

    def action() -> int:
        try:
            app(prog_name="layerwright")
        except SystemExit as stop:
            return stop.code if isinstance(stop.code, int) else int(stop.code is not None)
        return 0

    sys.exit(guarded(action, debug="--debug" in sys.argv))


if __name__ == "__main__":
    main()
