"""What reads lessons and writes lines loads nothing heavy."""

import subprocess
import sys

import pytest


@pytest.mark.parametrize("modules", ["grooves.teaching.graded, grooves.lesson", "grooves.teaching.coordination"])
def test_lessons_are_read_and_lines_written_without_numpy(modules):
    program = f"import sys, {modules}; print([name for name in ('numpy', 'scipy', 'mido') if name in sys.modules])"
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
