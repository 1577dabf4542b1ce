"""Purges where the blend jumps from one layer to the next: plan, sheet and woven toolpath, by another way.

A square tower of two walls with bands of 10 mm is sliced here, line by line, and woven with and without
`purge_jumps` in its plan. The melt chamber is marched along by order.py (plug flow, then one stirred tank;
O. Levenspiel, Chemical Reaction Engineering, from memory), ΔE00 is colour-science's. What comes out is
held against what `prepare` says of the same plastic, and the block's plastic against what it prices.
"""

import json
import math
import subprocess

import colour
import numpy as np

from order import AREA, Chamber, declared, in_block, in_the_air, laws, told
from sent import write_block
from tools import Check

SOURCE = "gcodeparser, shapely, colour-science, a march of its own"
SIDE, TOP, LAYER, LINE = 16.0, 30.0, 0.2, 0.45
AT = 110.0
SPOOLS = ["#1d3f8f", "#f4efe4"]
PLAN = """(version: 1, title: "Bands", mesh: (file: "bands.stl"),
    spools: [(name: "Deep blue", colour: Hex("{}")), (name: "Warm white", colour: Hex("{}"))],
    machine: (chamber: (dead_mm3: 20.0, mixed_mm3: 30.0, tanks: 1)),
    layers: (first_layer_mm: 0.2, layer_mm: 0.2), laying: (purge_jumps: {}),
    regions: [(name: "Bands", mask: Whole, paint: Fixed([1.0, 0.0])),
        (name: "Middle", mask: Band(from_mm: 10.0, to_mm: 20.0), paint: Fixed([0.0, 1.0]))])"""


def sliced():
    """Two walls a layer, drawn back between them."""
    lines = ["G21", "G90", "M83", "M104 S210", "G28"]
    for layer in range(round(TOP / LAYER)):
        lines.append(f"G0 Z{(layer + 1) * LAYER:.2f} F3000")
        for wall in range(2):
            half = SIDE / 2 - LINE * (wall + 0.5)
            corners = [(-half, -half), (half, -half), (half, half), (-half, half), (-half, -half)]
            x, y = corners[0]
            lines += ["G1 E-0.8 F2100", f"G0 X{AT + x:.3f} Y{AT + y:.3f} F9000", "G1 E0.8 F2100"]
            e = 2 * half * LINE * LAYER / AREA
            lines += [f"G1 X{AT + x:.3f} Y{AT + y:.3f} E{e:.5f} F1800" for x, y in corners[1:]]
    return "\n".join([*lines, "G1 E-0.8 F2100", "M104 S0", ""])


def came_out(moves, block, top):
    """Height, volume and blend of each bit of the outer wall."""
    chamber, bits = None, []
    for move in moves:
        volume = move["fresh"] * AREA
        if volume <= 0 or move["blend"] is None:
            continue
        chamber = chamber or Chamber(move["blend"])
        flat = math.dist(move["start"][:2], move["to"][:2])
        count = max(1, math.ceil(flat / 0.5))
        for _ in range(count):
            laid = chamber.lay(move["blend"], volume / count)
            middle = [0.5 * (a + b) - AT for a, b in zip(move["start"], move["to"])]
            if flat > 0 and not in_block(move, block, top) and max(map(abs, middle[:2])) > SIDE / 2 - LINE:
                bits.append((move["to"][2] - 0.5 * LAYER, volume / count, laid))
    return bits


def mean_de00(tools, bits):
    share = np.round([laid[0] / sum(laid) for _, _, laid in bits], 4)
    wanted = np.array([0.0 if 10 <= z < 20 else 1.0 for z, _, _ in bits])
    known = sorted({*share, *wanted})
    answers = tools.colours([{"mix": {"spools": SPOOLS, "shares": [s, 1 - s]}} for s in known])
    lab = {s: a["lab"] for s, a in zip(known, answers)}
    de00 = colour.delta_E(np.array([lab[s] for s in share]), np.array([lab[s] for s in wanted]), method="CIE 2000")
    return float(np.average(de00, weights=[volume for _, volume, _ in bits]))


def laid(tools, folder, purge):
    plan, file, out = (folder / f"{purge}{end}" for end in (".plan.ron", ".gcode", ".woven.gcode"))
    plan.write_text(PLAN.format(*SPOOLS, purge), encoding="utf-8")
    file.write_text(sliced(), encoding="utf-8")
    run = lambda *words: subprocess.run([tools.built / "tintfall", *words], check=True, capture_output=True, text=True)
    run("weave", plan, file, "--out", out, "--dialect", "slots")
    run("verify", plan, out, "--before", file, "--dialect", "slots")
    run("prepare", plan, "--toolpath", file, "--out", folder / f"{purge}-out")
    summary = json.loads((folder / f"{purge}-out" / "summary.json").read_text(encoding="utf-8"))
    return file, out, summary


def checks(tools):
    folder = tools.folder / "jumps"
    folder.mkdir()
    write_block(folder / "bands.stl", (SIDE, SIDE, TOP))
    means, said, flushed, filament, air = [], [], [], [], []
    for purge in ("false", "true"):
        file, out, summary = laid(tools, folder, purge)
        block, top = declared(out)
        before, after = told(file, 2), told(out, 2)
        worst, _, _ = laws(before, after, block, top)
        filament.append(worst)
        air.append(in_the_air(after, block, top) if block else 0)
        means.append(mean_de00(tools, came_out(after, block, top)))
        said.append(summary["as_printed"]["mean_de00"])
        block_mm3 = sum(m["fresh"] for m in after if in_block(m, block, top)) * AREA
        flushed.append((block_mm3, summary["as_printed"]["waste"]["volume_mm3"]))
        print(f"       purge_jumps {purge}: woven ΔE00 {means[-1]:.2f}, prepare {said[-1]:.2f};"
              f" block {block_mm3:.0f} mm³, priced {flushed[-1][1]:.0f} mm³ of flush")
    yield Check("ΔE00 of the woven bands with a purge, as a part of that without", SOURCE, means[1] / means[0], 0.4, 2)
    # A smeared jump begins at a layer in the one and within it in the other.
    apart = [abs(woven - told) / (woven + 0.1) for woven, told in zip(means, said)]
    yield Check("the same, against what prepare says, as a part", SOURCE, max(apart), 0.35, 2)
    yield Check("plastic in a block that the plan does not ask for, mm³", SOURCE, flushed[0][0] + flushed[0][1], 0.0, 1)
    yield Check("flush priced, beyond what the block takes, mm³", SOURCE, flushed[1][1] - flushed[1][0], 5.0, 1)
    yield Check("filament of each layer, without the purge block, mm", SOURCE, max(filament), 2e-4, 2)
    yield Check("layers of the purge block in the air", SOURCE, max(air), 0.0, 2)
