"""`python -m asfound`: the same as the `asfound` command, where no console script is at hand."""

import sys

from asfound.cli import main

if __name__ == "__main__":
    sys.exit(main())
