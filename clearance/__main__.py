"""``python -m clearance``: the same as the command ``clearance``."""

from clearance.cli.main import main

if __name__ == "__main__":
    main(prog_name="clearance")
