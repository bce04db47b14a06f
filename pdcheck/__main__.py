"""Where the program begins: ``pdcheck``, and ``python -m pdcheck``.

Why it is: Ctrl-C ends the program cleanly from its first moment on, while what it needs is still being imported.
"""

from __future__ import annotations

import sys

_STOPPED = 130


def main() -> None:
    """Run the command line."""
    try:
        from pdcheck.cli import main as run

        run()
    except KeyboardInterrupt:
        sys.stderr.write("pdcheck: stopped\n")
        sys.exit(_STOPPED)


if __name__ == "__main__":
    main()
