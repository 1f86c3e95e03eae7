"""Make the invented Larkfell drive: ``python sample_logs/generate.py --out FOLDER --seed 1``."""

import argparse
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from generator import Options, make_sample
from generator.figures import figures


def main() -> None:
    """Write logs, setup, ground tables and truth, and print the figures of each ground."""
    parser = argparse.ArgumentParser(description="Makes the invented Larkfell drive with its truth.")
    parser.add_argument("--out", type=Path, required=True, help="folder to write into")
    parser.add_argument("--seed", type=int, default=22, help="the committed drive is 22")
    parser.add_argument("--days", type=float, default=10)
    asked = parser.parse_args()
    truth = make_sample(asked.out, Options(seed=asked.seed, days=asked.days))
    print(figures(truth))


if __name__ == "__main__":
    main()
