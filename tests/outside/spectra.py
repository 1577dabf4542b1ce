"""Spectra instead of colours: test prints read by reflectance, and a sample to be matched.

The simulator of plastics gives reflectances of every step, read every 10 or 20 nm from 360 to 780 nm
with a scatter of 0.003; what a fit of them predicts for blends that no step had is held against the
simulator, and against a fit of the same readings as CIELAB. A sample of a blend is written as a file
of reflectances, matched, and looked at under other lights, whose colours colour-science tells.
"""

import json
import subprocess

import numpy as np

import fits
import plastics
from tools import Check

SOURCE = fits.SOURCE
CASES = [(("white", "blue"), "stirred", 10), (("yellow", "blue"), "stirred", 20), (("turquoise", "orange"), "dots", 10),
         (("red", "yellow"), "dots", 20), (("bone", "black"), "stirred", 20)]
SCATTER = 0.003
LIGHTS = {"A": "A", "F11": "FL11", "LED-B3": "LED-B3"}
PLAN = """(version: 1, title: "Sample", mesh: (file: "none.stl"), spools: "pair.ron",
    layers: (first_layer_mm: 0.2, layer_mm: 0.2), regions: [(name: "All", mask: Whole, paint: Fixed([0.5, 0.5]))])"""


def read(names, shares, way, step_nm, draw):
    """Wavelengths, and the reflectances read there of each blend."""
    nm = np.arange(360, 781, step_nm)
    all_of = np.array([plastics.reflectance(names, one, way) for one in shares])
    at = np.array([np.interp(nm, plastics.NM, one) for one in all_of])
    return nm, (at + draw.normal(0, SCATTER, at.shape)).clip(0, 1)


def table(shares, nm, reflectances):
    count = shares.shape[1]
    # An instrument's own names for its columns.
    heads = ["step", *(f"share_{i + 1}" for i in range(count)), *(f"{n} nm" for n in nm)]
    rows = [",".join([str(n), *(f"{s:.12f}" for s in step), *(f"{r:.4f}" for r in seen)])
            for n, (step, seen) in enumerate(zip(shares, reflectances), 1)]
    return "\n".join(["# spools: spools.ron", "# specular: excluded", ",".join(heads), *rows]) + "\n"


def fitted(tools, name, names, text):
    folder = tools.folder / name
    folder.mkdir()
    (folder / "spools.ron").write_text(fits.spools_file(names, plastics.mixed(names, np.eye(len(names)), "stirred")))
    (folder / "measured.csv").write_text(text)
    tools.tintfall("fit", folder / "measured.csv", "--out", folder / "pair.ron")
    return folder


def checks(tools):
    missed, worse, folders = [], [], []
    for names, way, step_nm in CASES:
        draw = np.random.default_rng([step_nm, *map(ord, names[0])])
        shares = fits.measured_steps(len(names))
        nm, seen = read(names, shares, way, step_nm, draw)
        full = np.array([np.interp(plastics.NM, nm, one) for one in seen])
        name = "-".join(["spectra", *names])
        by_spectra = fitted(tools, name, names, table(shares, nm, seen))
        by_lab = fitted(tools, f"{name}-lab", names, fits.table(shares, plastics.lab(full)))
        blends = fits.held_out(len(names))
        asked = [{"predict": {"measured": str(f / "pair.ron"), "shares": blends.tolist()}} for f in (by_spectra, by_lab)]
        truth = plastics.mixed(names, blends, way)
        off, off_lab = (plastics.difference(a["lab"], truth).mean() for a in tools.colours(asked))
        print(f"       {' and '.join(names)}, {way}, every {step_nm} nm: {off:.2f} ΔE00 where not measured;"
              f" by CIELAB {off_lab:.2f}")
        missed.append(off)
        worse.append(off - off_lab)
        folders.append((by_spectra, names, way))
    yield Check("ΔE00 of unmeasured blends, steps read as spectra", SOURCE, max(missed), 2.0, len(missed))
    yield Check("the same, beyond what CIELAB of the same readings gives", SOURCE, max(worse), 0.3, len(worse))
    yield from matched(tools, folders)
    yield from refused(tools, folders[0][0])


def matched(tools, folders):
    """A sample of a blend of a third, by its reflectances."""
    shares, colours, parts = [], [], []
    for folder, names, way in folders:
        wanted = np.array([0.35, 0.65])
        seen = plastics.reflectance(names, wanted, way)
        (folder / "sample.plan.ron").write_text(PLAN)
        (folder / "sample.csv").write_text(
            "wavelength,reflectance\n" + "".join(f"{n:.0f},{r:.5f}\n" for n, r in zip(plastics.NM, seen)))
        done = subprocess.run([tools.built / "tintfall", "match", "sample.plan.ron", "sample.csv", "--json"],
                              cwd=folder, check=True, capture_output=True, text=True)
        found = json.loads(done.stdout)
        lab = lambda told: np.array([told["l"], told["a"], told["b"]])
        colours.append(plastics.difference(lab(found["wanted"]), plastics.lab(seen)[0]))
        for light in found["lights"]:
            assert light["measured"]
            colours.append(plastics.difference(lab(light["wanted"]), plastics.lab(seen, LIGHTS[light["light"]])[0]))
        # How far apart the blend found and the one asked for are, by the simulator.
        ours = plastics.mixed(names, [found["shares"]], way)[0]
        shares.append(plastics.difference(ours, plastics.lab(seen)[0]))
        parts.append(len(found["lights"]))
    yield Check("colour of a sample under D65, A, F11 and LED-B3, ΔE00", "colour-science", max(colours), 0.1, len(colours))
    yield Check("a sample's match, printed by the simulator, off by ΔE00", SOURCE, max(shares), 2.0, len(shares))
    yield Check("lights that a sample is not looked at in", "counted", 3 - min(parts), 0, len(parts))


def refused(tools, folder):
    """Reflectances that are none: in percent, with a gap, too short, out of order."""
    good = [(n, 0.4) for n in range(380, 731, 10)]
    wrong = {
        "percent": ([(n, 40.0) for n, _ in good], "write 45 % as 0.45"),
        "gap": ([p for p in good if not 500 < p[0] < 540], "between 500 and 540 nm"),
        "short": ([p for p in good if p[0] >= 450], "must cover"),
        "order": ([good[1], good[0], *good[2:]], "must rise"),
    }
    silent = 0
    for name, (pairs, word) in wrong.items():
        (folder / f"{name}.csv").write_text("".join(f"{n},{r}\n" for n, r in pairs))
        done = subprocess.run([tools.built / "tintfall", "match", "sample.plan.ron", f"{name}.csv"], cwd=folder,
                              capture_output=True, text=True)
        silent += done.returncode != 2 or word not in done.stderr or f"{name}.csv" not in done.stderr
    yield Check("samples that are none and are not refused in words", "by hand", silent, 0, len(wrong))
