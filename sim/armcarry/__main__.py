"""``armcarry`` and ``python -m armcarry``: the command line, stopped by Ctrl-C in one line from its first moment on."""

import signal
import sys


def main() -> None:
    """Run the command line."""
    try:
        from armcarry.cli import main as run
    except KeyboardInterrupt:
        sys.stderr.write("armcarry: stopped; nothing was changed; the same command begins again\n")
        sys.exit(130)
    try:
        run()
    finally:
        signal.signal(signal.SIGINT, signal.SIG_IGN)  # it ends anyway, and all is said


if __name__ == "__main__":
    main()
