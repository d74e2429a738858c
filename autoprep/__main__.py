"""`python -m autoprep`."""

import sys

from autoprep.cli import main

if __name__ == "__main__":
    sys.exit(main())
