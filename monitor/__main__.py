"""`python -m monitor` does what `strandwatch` does."""

import sys

from monitor.cli import main

if __name__ == "__main__":
    sys.exit(main())
