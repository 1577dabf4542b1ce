"""Times `tintfall prepare` on plans of many strokes and of thousands of bands, and prints a table.

    python3 tests/peers/strokes.py target/release/tintfall

The plans and meshes are made here from a seed. `run.py` puts the table into docs/speed.md, with that of
the stroke study (`cargo run --release -p geometry --example stroke_study`) and with what `strokes.md`
beside this file says about both.
"""

import json
import math
import os
import random
import struct
import subprocess
import sys
import tempfile
from pathlib import Path

HEAD = """(version: 1, title: "Strokes", mesh: (file: "%s"),
 spools: [(name: "White", colour: Hex("#f2efe6")), (name: "Blue", colour: Hex("#14507a"))],
 layers: (first_layer_mm: 0.2, layer_mm: %s),
 regions: [(name: "All", mask: Whole, paint: Fixed([1, 0])),
"""


def stl(path: Path, triangles):
    with path.open("wb") as file:
        body = bytearray()
        count = 0
        for a, b, c in triangles:
            body += struct.pack("<12fH", 0, 0, 0, *a, *b, *c, 0)
            count += 1
        file.write(b"\0" * 80 + struct.pack("<I", count) + body)


def scan_radius(x: float, y: float, z: float) -> float:
    """How far the skin of the scan is from its middle, in a direction of length 1."""
    return 50 + 0.3 * math.sin(40 * x) * math.sin(40 * y) * math.sin(40 * z)


def on_skin(x, y, z):
    r = scan_radius(x, y, z)
    return (r * x, r * y, 50 + r * z)


def scan(cells: int):
    """A closed, rippled, ball-like part in facets of even size, as a scanner would give it."""
    warped = [math.tan(math.pi / 4 * (2 * i / cells - 1)) for i in range(cells + 1)]

    def at(place):
        x, y, z = (warped[i] for i in place)
        size = math.sqrt(x * x + y * y + z * z)
        return on_skin(x / size, y / size, z / size)

    for axis in range(3):
        for end in (0, cells):
            def place(i, j):
                # Turned alike, so that what faces out on one side of the cube does on the next.
                turned = [end, i, j] if end else [end, j, i]
                return turned[-axis:] + turned[:-axis]
            low = [at(place(i, 0)) for i in range(cells + 1)]
            for j in range(1, cells + 1):
                high = [at(place(i, j)) for i in range(cells + 1)]
                for i in range(cells):
                    yield low[i], low[i + 1], high[i + 1]
                    yield low[i], high[i + 1], high[i]
                low = high


def globe_radius(along: float, around: float) -> float:
    return 50 + 0.3 * math.sin(40 * along) * math.sin(40 * around)


def on_globe(along, around):
    r = globe_radius(along, around)
    return (r * math.sin(along) * math.cos(around), r * math.sin(along) * math.sin(around),
            50 - r * math.cos(along))


def globe(rings: int, sides: int):
    """A ball whose facets and ripples crowd at its poles, where ripples rise up to 70 degrees."""
    low = [(0, 0, 0)] * sides
    for i in range(1, rings + 1):
        pole = [(0, 0, 100)] * sides
        turns = (2 * math.pi * j / sides for j in range(sides))
        high = [on_globe(math.pi * i / rings, turn) for turn in turns] if i < rings else pole
        for j in range(sides):
            a, b, c, d = low[j], low[(j + 1) % sides], high[(j + 1) % sides], high[j]
            if i > 1:
                yield a, b, c
            if i < rings:
                yield a, c, d
        low = high


def column(sides: int, radius: float, high: float):
    ring = [(radius * math.cos(2 * math.pi * i / sides), radius * math.sin(2 * math.pi * i / sides))
            for i in range(sides)]
    for (ax, ay), (bx, by) in zip(ring, ring[1:] + ring[:1]):
        yield (ax, ay, 0), (bx, by, 0), (bx, by, high)
        yield (ax, ay, 0), (bx, by, high), (ax, ay, high)
        yield (0, 0, 0), (bx, by, 0), (ax, ay, 0)
        yield (0, 0, high), (ax, ay, high), (bx, by, high)


def box(x, y, z):
    p = [(x * (i & 1), y * (i >> 1 & 1), z * (i >> 2)) for i in range(8)]
    for a, b, c, d in ((0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5)):
        yield p[a], p[b], p[c]
        yield p[a], p[c], p[d]


def brush(strokes, radius):
    for dabs in strokes:
        points = ", ".join("(%.4f, %.4f, %.4f)" % p for p in dabs)
        yield f"Paint(dabs_mm: [{points}], radius_mm: {radius}),\n"


def on_scan(count, rand):
    """Strokes of 200 dabs, 1.5 mm from each other, wandering over the scan."""
    for _ in range(count):
        at = unit([rand.gauss(0, 1) for _ in range(3)])
        way = unit(cross(at, [rand.gauss(0, 1) for _ in range(3)]))
        dabs = []
        for _ in range(200):
            dabs.append(on_skin(*at))
            turn = rand.uniform(-0.3, 0.3)
            beside = cross(at, way)
            way = [math.cos(turn) * w + math.sin(turn) * b for w, b in zip(way, beside)]
            at, way = (unit([math.cos(0.03) * a + math.sin(0.03) * w for a, w in zip(at, way)]),
                       unit([math.cos(0.03) * w - math.sin(0.03) * a for a, w in zip(at, way)]))
        yield dabs


def cross(a, b):
    return [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]


def unit(a):
    size = math.sqrt(sum(x * x for x in a))
    return [x / size for x in a]


def to_poles(count, rand):
    """Strokes of 200 dabs on the globe, a third of them about its poles."""
    for _ in range(count):
        along, around = rand.uniform(0.3, math.pi - 0.3), rand.uniform(0, 2 * math.pi)
        heading, dabs = rand.uniform(0, 2 * math.pi), []
        for _ in range(200):
            dabs.append(on_globe(along, around))
            heading += rand.uniform(-0.3, 0.3)
            along = min(max(along + 0.03 * math.cos(heading), 0.2), math.pi - 0.2)
            around += 0.03 * math.sin(heading) / math.sin(along)
        yield dabs


def on_column(count, rand, radius, high):
    for _ in range(count):
        angle, z, dabs = rand.uniform(0, 2 * math.pi), rand.uniform(20, high - 20), []
        heading = rand.uniform(0, 2 * math.pi)
        for _ in range(200):
            dabs.append((radius * math.cos(angle), radius * math.sin(angle), z))
            heading += rand.uniform(-0.3, 0.3)
            z = min(max(z + 1.5 * math.cos(heading), 5), high - 5)
            angle += 1.5 * math.sin(heading) / radius
        yield dabs


def painted(path, mesh, layer, strokes, radius):
    with path.open("w") as file:
        file.write(HEAD % (mesh, layer))
        file.write('(name: "Painted", mask: Not(Whole), paint: Fixed([0.2, 0.8]), brush: [\n')
        file.writelines(brush(strokes, radius))
        file.write("])])\n")


def banded(path, mesh, layer, count, high):
    with path.open("w") as file:
        file.write(HEAD % (mesh, layer))
        step = high / count
        for i in range(count):
            share = (i * 7 % 10 + 1) / 20
            file.write(f'(name: "B{i}", mask: Band(from_mm: {i * step:.5f}, to_mm: {(i + 1) * step:.5f}),'
                       f" paint: Fixed([{1 - share:.2f}, {share:.2f}])),\n")
        file.write("])\n")


def measure(command, cores=()):
    """Runs a command, on some cores or on all: its seconds, those of its processors, and its peak memory, MB."""
    launch = [sys.executable, "-S", Path(__file__).parent / "measured.py", ",".join(map(str, cores)), *command]
    done = subprocess.run(launch, capture_output=True, text=True)
    if done.returncode:
        print(done.stderr[-500:], file=sys.stderr)
        done.check_returncode()
    return json.loads(done.stdout)


def main():
    print("\n".join(table(Path(sys.argv[1]).resolve(), sys.argv[2:])))


def verdict(value: float, aim: float | None) -> str:
    """An aim that is not to be passed, and whether it is held."""
    if aim is None:
        return ""
    return f"{aim:g}, {'held' if value <= aim else '**missed**'}"


# Seconds and GB aimed at, by the beginning of a title.
AIMS = {"300 strokes": (20, 1.5), "30 strokes": (3, 0.4), "4094 bands": (5, 0.5)}


def table(tintfall: Path, wanted=()) -> list[str]:
    """Times all plans, or those of some meshes, and tells how it came out."""
    folder = Path(tempfile.mkdtemp(prefix="strokes-"))
    rand = random.Random(14)
    jobs = []
    if not wanted or "scan" in wanted:
        stl(folder / "scan.stl", scan(289))
        for count in (0, 75, 150, 300):
            plan = folder / f"scan-{count}.plan.ron"
            painted(plan, "scan.stl", 0.2, on_scan(count, rand), 3.0)
            jobs.append((f"{count} strokes of 200 dabs on a scan of 1 million facets", plan))
    if not wanted or "globe" in wanted:
        stl(folder / "globe.stl", globe(700, 715))
        plan = folder / "globe.plan.ron"
        painted(plan, "globe.stl", 0.2, to_poles(75, rand), 3.0)
        jobs.append(("75 strokes of 200 dabs on a globe of 1 million facets, with steep ripples at its poles", plan))
    if not wanted or "column" in wanted:
        stl(folder / "column.stl", column(180, 20.0, 400.0))
        for count in (0, 15, 30):
            plan = folder / f"column-{count}.plan.ron"
            painted(plan, "column.stl", 0.2, on_column(count, rand, 20.0, 400.0), 3.0)
            jobs.append((f"{count} strokes of 200 dabs on a cylinder of 180 sections, 400 mm high", plan))
    if not wanted or "box" in wanted:
        stl(folder / "box.stl", box(60, 40, 400))
        for count in (400, 1600, 4094):
            plan = folder / f"box-{count}.plan.ron"
            banded(plan, "box.stl", 0.2, count, 400.0)
            jobs.append((f"{count} bands on a box of 12 facets, 400 mm high", plan))
    lines = ["| Plan | Seconds | Aim | Of two cores, seconds | Peak memory, GB | Aim |",
             "|---|---:|---|---:|---:|---|"]
    cores = sorted(os.sched_getaffinity(0))[:2]
    for title, plan in jobs:
        seconds, spent, peak_mb = measure([tintfall, "prepare", plan, "--out", folder / "out"], cores)
        peak = peak_mb / 1000
        told = [verdict(*pair) for pair in zip((seconds, peak), AIMS.get(" ".join(title.split()[:2]), (None, None)))]
        lines.append(f"| {title} | {seconds:.1f} | {told[0]} | {spent:.1f} | {peak:.2f} | {told[1]} |")
        print(lines[-1], file=sys.stderr, flush=True)
    return lines


if __name__ == "__main__":
    main()
