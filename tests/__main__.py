"""Everything that must hold, in one command: format, lint, types, tables, then all tests on both cores."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

_TOP = Path(__file__).parents[1]
_STEPS = (
    ("format", ["-m", "ruff", "format", "--check", "diag", "tests"]),
    ("lint", ["-m", "ruff", "check", "diag", "tests"]),
    ("types", ["-m", "mypy"]),
    ("tables", ["-m", "tests.warm"]),
    ("tests", ["-m", "pytest", "-n", "2", "--dist", "worksteal", "-rs"]),
)


def main() -> int:
    """Run every step even where one fails, so that one run tells everything. Returns the exit code."""
    failed = []
    for name, arguments in _STEPS:
        print(f"== {name}", flush=True)
        if subprocess.run(
            [sys.executable, *arguments, *(sys.argv[1:] if name == "tests" else [])], cwd=_TOP
        ).returncode:
            failed.append(name)
    print("all steps hold" if not failed else f"failed: {', '.join(failed)}")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
