"""``python -m emgreview``: the command line."""

from emgreview.cli import main

if __name__ == "__main__":
    main()
