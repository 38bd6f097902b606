"""Every benchmark, one after another, each in a process of its own: some two hours on two cores.

Run: pip install -e '.[bench]' && python tests/benchmarks
"""

import subprocess
import sys
from pathlib import Path

IN_ORDER = (
    "steps",
    "airflow",
    "tree_boxes",
    "planner",
    "replay",
    "rules_planner",
    "reliability",
    "house_calls",
    "calls",
)

if __name__ == "__main__":
    for name in IN_ORDER:
        path = Path(__file__).with_name(f"bench_{name}.py")
        print(f"\n{'=' * 20} {path.name}", flush=True)
        subprocess.run([sys.executable, str(path)], check=True)
