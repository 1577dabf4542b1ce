"""Renders the demonstration's photographs, of a swatch bar and of a lamp shade that came out wrong.

They are photograph.jpg and finished.jpg in demo-models/calibration. A drive of the lamp shade fed
too little up to some height (finished_parts.py, seed 1). Run it with the path of the built
`tintfall`. The bar's reflectances are those that colour-science recovers (Jakob and Hanika,
Computer Graphics Forum 38, 2019; from memory) from the invented readings in
demo-models/calibration/measured.csv; studio.py photographs them.
"""

import subprocess
import sys
import tempfile
from pathlib import Path

import colour
import numpy as np
import trimesh

import photographs
import plastics
import studio
from tools import ROOT


def recovered(lab):
    xyz = colour.Lab_to_XYZ(lab, plastics.WHITE)
    spectrum = colour.XYZ_to_sd(xyz, method="Jakob 2019", cmfs=plastics.CMFS,
                                illuminant=colour.SDS_ILLUMINANTS["D65"].copy().align(plastics.SHAPE))
    return spectrum.values


def main(program):
    given = ROOT / "demo-models" / "calibration"
    with tempfile.TemporaryDirectory() as folder:
        folder = Path(folder)
        subprocess.run([program, "swatch", given / "spools.ron", "--out", folder / "bar"], check=True, capture_output=True)
        subprocess.run([program, "card", "--out", folder / "card.svg"], check=True, capture_output=True)
        rows = [line.split(",") for line in (given / "measured.csv").read_text().splitlines()]
        labs = [[float(v) for v in row[3:6]] for row in rows if row[0].isdigit()]
        alone = np.array([recovered(np.array(lab)) for lab in labs])
        print("recovered within ΔE00", max(plastics.difference(a, b) for a, b in zip(labs, plastics.lab(alone))))
        starts = [0.0] + [float(part.split(",")[0]) for part in
                          (folder / "bar" / "swatch.plan.ron").read_text().split("from_mm:")[1:]]
        shot = studio.Shot(seed=7, size=(1200, 1600), tilt_deg=(7.0, -5.0), turn_deg=4.0, distance_mm=330.0,
                           k1=-0.03, curve=0.15, exposure=0.7, noise=0.004, quality=75,
                           off_mm=(1.5, -2.0), off_deg=0.6, lean=(0.0, 0.0))
        jpeg, *_ = studio.photograph(shot, (folder / "card.svg").read_text(),
                                     trimesh.load(folder / "bar" / "swatch.stl"),
                                     photographs.settling(alone, starts))
        (given / "photograph.jpg").write_bytes(jpeg)
        # It recovers spectra by this file.
        import finished_parts
        parts = finished_parts.Parts(program, folder / "parts", ["lamp-shade"])
        made = finished_parts.Print(parts.parts["lamp-shade"], 1, "too little until a height")
        (given / "finished.jpg").write_bytes(made.shot(finished_parts.any_pose(1), parts.card).jpeg)


if __name__ == "__main__":
    main(sys.argv[1])
