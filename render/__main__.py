"""`python -m render` is the command `fourlimb`."""

import sys

from render.cli import main

sys.exit(main())
