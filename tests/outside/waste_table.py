"""Waste by the size of a part: the table of docs/as-printed.md, made with the program itself.

    python waste_table.py TINTFALL

Cubes of 10 to 80 mm in two blends, left and right half, and in three; layers of 0.2 mm, everything
else as it is unless told: the default machine, and the plan's usual filling.
"""

import json
import subprocess
import sys
import tempfile
from pathlib import Path

from sent import SPOOLS, write_block

SLAB = '(name: "{name}", mask: Slab(direction: (1.0, 0.0, 0.0), from_mm: {at}, to_mm: 100.0), paint: Fixed([{first}, {second}])),'


def waste(tintfall, folder, side, blends):
    write_block(folder / "cube.stl", (side, side, side))
    slabs = [(0.0, 0.0)] if blends == 2 else [(-side / 6, 0.5), (side / 6, 0.0)]
    regions = "".join(SLAB.format(name=i, at=at, first=first, second=1 - first)
                      for i, (at, first) in enumerate(slabs))
    (folder / "cube.plan.ron").write_text(f"""(version: 1, title: "cube", mesh: (file: "cube.stl"), {SPOOLS}
        layers: (first_layer_mm: 0.2, layer_mm: 0.2), regions: [(name: "Left", mask: Whole,
        paint: Fixed([1.0, 0.0])), {regions}])""", encoding="utf-8")
    done = subprocess.run([tintfall, "prepare", folder / "cube.plan.ron", "--out", folder / "out", "--json"],
                          check=True, capture_output=True, text=True)
    summary = json.loads(done.stdout)
    grams = sum(spool["mass_g"] for spool in summary["totals"]["spools"])
    found = summary["as_printed"]["waste"]
    return grams, found["mass_g"], found["minutes"]


def main():
    print("| cube, mm | blends | part, g | flushed away, g | min | against the part |")
    print("|---|---|---|---|---|---|")
    with tempfile.TemporaryDirectory() as folder:
        for blends in (2, 3):
            for side in (10, 20, 30, 40, 60):
                part, lost, minutes = waste(Path(sys.argv[1]).resolve(), Path(folder), side, blends)
                print(f"| {side} | {blends} | {part:.1f} | {lost:.1f} | {minutes:.0f} | {lost / part:.2f} |")


if __name__ == "__main__":
    sys.exit(main())
