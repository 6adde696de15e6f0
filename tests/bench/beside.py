"""Finds the tests' own modules for a bench that is run as a program, and keeps numpy to one core."""

import os
import sys
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parents[1]))
