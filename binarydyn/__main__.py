"""`python -m binarydyn` is the same as `binarydyn`."""

import sys

from .commands import main

sys.exit(main())
