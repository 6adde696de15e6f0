"""The fuzzer's own modules are found beside its tests."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
