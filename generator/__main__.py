"""`python -m generator`: the same as the `hygrotrail` command, where no console script is at hand."""

import sys

from generator.cli import main

if __name__ == "__main__":
    sys.exit(main())
