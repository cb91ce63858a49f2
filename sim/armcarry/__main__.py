"""``python -m armcarry`` is the command line."""

from armcarry.cli import main

if __name__ == "__main__":
    main()
