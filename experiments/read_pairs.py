"""Reads the tidy tables of a run back, with nothing but Python's own library.

    python3 experiments/read_pairs.py reports/captures

One row is one number with what it is of, so every statistics program takes the files as they are. This script checks that a
difference is what it says, and prints the pairs of arms whose interval excludes 0. These are exploratory: not corrected for the
number of comparisons. Verdicts on claims are in claims.csv.
"""

import csv
import sys
from pathlib import Path


def rows(folder, name):
    with open(Path(folder) / "tables" / name, newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def main(folder):
    summary = {(row["arm"], row["point"], row["output"]): row for row in rows(folder, "summary.csv")}
    pairs = rows(folder, "pairs.csv")
    for row in pairs:
        difference = float(row["value_a"]) - float(row["value_b"])
        assert abs(difference - float(row["difference"])) <= 1e-12, row
    # Where no trial failed, the value of an arm is that of its summary. (Its 95th percentile is estimated in another way.)
    for row in (row for row in pairs if row["measure"] in ("bias", "sd", "rms")):
        of_arm = summary[row["arm_a"], row["point"], row["output"]]
        if row["n"] == of_arm["n"]:
            assert abs(float(row["value_a"]) - float(of_arm[row["measure"]])) <= 1e-9, (row, of_arm)
    apart = [row for row in pairs if row["low"] and (float(row["low"]) > 0 or float(row["high"]) < 0)]
    for row in apart:
        print(
            f"point {row['point']}, {row['output']}, {row['measure']}: {row['arm_a']} minus {row['arm_b']} "
            f"{float(row['difference']):+.4f} ({float(row['low']):+.4f} to {float(row['high']):+.4f}) {row['unit']}"
        )
    print(f"{len(apart)} of {len(pairs)} intervals exclude 0")


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit(__doc__)
    main(sys.argv[1])
