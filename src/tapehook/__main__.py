"""``python -m tapehook``: the same as the command ``tapehook``."""

from tapehook.cli import main

if __name__ == "__main__":
    main(prog_name="tapehook")
