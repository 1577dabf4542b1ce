"""Toolpaths: words by gcodeparser (MIT), places and filament by the arithmetic below.

Modes, offsets and arcs follow NISTIR 6556 (RS274/NGC), 3.5; E is common practice, no source.
Made-up files with every mode are read move by move; then each demonstration part's toolpath is
woven, and the woven file must lay the same filament through the same places in the same order.
"""

import json
import math
import random
import re
import subprocess

from gcodeparser import parse_gcode_lines

from tools import Check

TOLERANCE_MM = 1e-6
SOURCE = "gcodeparser; NISTIR 6556, 3.5"
AXES = "XYZ"


class Machine:
    """Carries out one command after another and notes each move."""

    def __init__(self):
        self.at = dict.fromkeys(AXES, 0.0)
        self.offset = dict.fromkeys(AXES, 0.0)
        self.e = 0.0
        self.unit = 1.0
        self.relative = False
        self.relative_e = False
        self.volumetric = False
        self.flow = 1.0
        self.moves = []

    def place(self):
        return [self.at[a] + self.offset[a] for a in AXES]

    def run(self, line):
        letter, code = line.command
        params = {k.upper(): v for k, v in line.params.items()}
        if letter == "G" and code in (0, 1, 2, 3):
            self.move(code, params, line.line_index + 1)
        elif letter == "G" and code in (20, 21):
            self.unit = 25.4 if code == 20 else 1.0
        elif letter == "G" and code in (90, 91):
            self.relative = code == 91
        elif letter == "G" and code == 92:
            everything = not any(a in params for a in AXES + "E")
            for axis in AXES:
                if axis in params or everything:
                    value = float(params.get(axis, 0.0)) * self.unit
                    self.offset[axis] += self.at[axis] - value
                    self.at[axis] = value
            if "E" in params or everything:
                self.e = float(params.get("E", 0.0)) * (1.0 if self.volumetric else self.unit)
        elif letter == "G" and code == 28:
            chosen = [a for a in AXES if a in params] or list(AXES)
            for axis in chosen:
                self.at[axis] = self.offset[axis] = 0.0
        elif letter == "M" and code in (82, 83):
            self.relative_e = code == 83
        elif letter == "M" and code == 200:
            self.volumetric = math.pi * float(params["D"]) ** 2 / 4 if float(params.get("D", 0)) else False
        elif letter == "M" and code == 221:
            self.flow = float(params.get("S", 100.0)) / 100

    def move(self, code, params, line):
        if not any(w in params for w in "XYZEIJR"):
            return
        start = self.place()
        for axis in AXES:
            if axis in params:
                value = float(params[axis]) * self.unit
                self.at[axis] = value + (self.at[axis] if self.relative else 0.0)
        fed = 0.0
        if "E" in params:
            value = float(params["E"]) * (1.0 if self.volumetric else self.unit)
            target = value + self.e if self.relative or self.relative_e else value
            fed = (target - self.e) * self.flow / (self.volumetric or 1.0)
            self.e = target
        end = self.place()
        middle = arc_middle(code == 2, start, end, params, self.unit) if code > 1 else None
        self.moves.append({"line": line, "to": end, "e": fed, "middle": middle})


def arc_middle(clockwise, start, end, params, unit):
    """Half-way along an arc in XY, by complex numbers."""
    p, q = complex(*start[:2]), complex(*end[:2])
    if "R" in params:
        radius = float(params["R"]) * unit
        chord = q - p
        height = math.sqrt(max(radius**2 - abs(chord) ** 2 / 4, 0.0))
        side = 1 if (radius > 0) != clockwise else -1
        centre = (p + q) / 2 + side * 1j * chord / abs(chord) * height
    else:
        centre = p + complex(float(params.get("I", 0.0)), float(params.get("J", 0.0))) * unit
    u, v = p - centre, q - centre
    turn = math.atan2((v / u).imag, (v / u).real) if p != q else 0.0
    if clockwise and turn >= 0:
        turn -= math.tau
    if not clockwise and turn <= 0:
        turn += math.tau
    half = centre + u / abs(u) * (abs(u) + abs(v)) / 2 * complex(math.cos(turn / 2), math.sin(turn / 2))
    return [half.real, half.imag, (start[2] + end[2]) / 2]


def made_up(seed):
    """A file that changes modes at random and stays within reach."""
    rng = random.Random(seed)
    lines = ["; made up for a check", "G21", "G90"]
    for _ in range(400):
        x, y = (round(rng.uniform(-90, 90), 3) for _ in range(2))
        e = round(rng.uniform(0, 3), 5)
        lines.append(
            rng.choice(
                [
                    f"G1 X{x} Y{y} E{e} F{rng.randint(300, 9000)}",
                    f"g0 x{x} z{round(rng.uniform(0, 5), 2)} ; over",
                    f"G1 Y{y} E{e}",
                    f"G2 X{x} Y{y} R{round(rng.uniform(300, 900), 2)} E{e}",
                    f"G3 I{round(rng.uniform(1, 9), 3)} J{round(rng.uniform(1, 9), 3)} E{e}",
                    f"G91\nG3 X4 Y4 I4 J0 E{e}\nG90",
                    f"G92 X{x} E{e}",
                    "G92 E0",
                    "G92",
                    "G20",
                    "G21",
                    "G21",
                    "M82\nG92 E0",
                    "M83",
                    "M221 S95",
                    "M221 S100",
                    "M200 D1.75\nG92 E0",
                    "M200 D0\nG92 E0",
                    "G28 X0 Y0",
                    "M104 S0",
                ]
            )
        )
    return "\n".join(lines) + "\n"


def ours(tools, path):
    command = [tools.built / "examples" / "moves", path]
    done = subprocess.run(command, check=True, capture_output=True, text=True)
    return [json.loads(line) for line in done.stdout.splitlines()]


def lines_of(path):
    """A file's lines without line numbers and checksums, which the parser doesn't know."""
    with open(path, encoding="utf-8") as file:
        for line in file:
            yield re.sub(r"^N\d+ |\*\d+\s*$", "", line.rstrip("\r\n")) + "\n"


def read(path):
    machine = Machine()
    for line in parse_gcode_lines(lines_of(path)):
        machine.run(line)
    return machine.moves


def apart(a, b):
    return max(abs(p - q) for p, q in zip(a, b))


def move_by_move(tools, path):
    """Largest difference between our reading and the second one, and how many were compared."""
    mine, theirs = ours(tools, path), read(path)
    if [m["line"] for m in mine] != [m["line"] for m in theirs]:
        return math.inf, len(theirs)
    worst = 0.0
    for a, b in zip(mine, theirs):
        worst = max(worst, apart(a["to"], b["to"]), abs(a["e"] - b["e"]))
        if b["middle"] and "middle" in a:
            worst = max(worst, apart(a["middle"], b["middle"]))
    return worst, len(mine)


def woven(before, after):
    """Largest difference of a place and of the filament fed by then, over all of before's moves."""
    worst, fed_before, fed_after = 0.0, 0.0, 0.0
    rest = iter(read(after))
    for move in before:
        fed_before += move["e"]
        best = math.inf
        for piece in rest:
            fed_after += piece["e"]
            best = max(apart(piece["to"], move["to"]), abs(fed_after - fed_before))
            if best <= TOLERANCE_MM:
                break
        worst = max(worst, best)
        if worst > TOLERANCE_MM:
            return worst, len(before)
    extra = sum(abs(piece["e"]) for piece in rest)
    return max(worst, extra), len(before)


def checks(tools):
    results = []
    for seed in range(10):
        path = tools.folder / f"made-up-{seed}.gcode"
        path.write_text(made_up(seed), encoding="utf-8")
        results.append(move_by_move(tools, path))
    yield check("place, filament and arcs of made-up moves", results)
    results = []
    for plan in sorted(tools.demos().glob("*.plan.ron")):
        name = plan.name.removesuffix(".plan.ron")
        sliced, out = plan.with_name(f"{name}.gcode"), tools.folder / f"{name}-woven.gcode"
        command = [tools.built / "tintfall", "weave", plan, sliced, "--out", out, "--purge", "stay"]
        # Slots are chosen like tools, which the second reader passes over.
        subprocess.run([*command, "--dialect", "slots"], check=True, capture_output=True)
        results.append(woven(read(sliced), out))
    yield check("place and filament of toolpaths woven in their order", results)


def check(what, results):
    worst = max((worst for worst, _ in results), default=math.inf)
    return Check(what, SOURCE, worst, TOLERANCE_MM, sum(count for _, count in results))
