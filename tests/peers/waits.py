"""Times whole commands on large parts, as a person waits for them, and prints a table.

    python3 tests/peers/waits.py target/release/tintfall [CORES...]

For each number of cores (by default two, and all there are) the command may use that many. The
parts and their plans are made here from a seed. `run.py` puts the table into docs/speed.md, with what
`waits.md` beside this file says about it.
"""

import math
import os
import random
import struct
import sys
import tempfile
import zlib
from pathlib import Path

from strokes import measure, scan_radius, stl, verdict

PIXELS = 4096

PLAN = """(version: 1, title: "Vase", mesh: (file: "%s"),
 spools: [(name: "White", colour: Hex("#f2efe6")), (name: "Blue", colour: Hex("#14507a"))],
 layers: (first_layer_mm: 0.2, layer_mm: 0.2),
 regions: [
  (name: "All", mask: Whole, paint: Fade(along: Height, fade: (
    stops: [(at_mm: 10, shares: [1, 0]), (at_mm: 110, shares: [0, 1])], spacing: EqualSteps))),
  (name: "Spot", mask: Sphere(centre_mm: (30, 0, 60), radius_mm: 15), paint: Fixed([0.5, 0.5])),
])
"""


def main():
    counts = [int(count) for count in sys.argv[2:]]
    print("\n".join(table(Path(sys.argv[1]).resolve(), counts)))


def table(tintfall: Path, counts=()) -> list[str]:
    """Times all, and tells how it came out, the faster of two runs of each."""
    everything = sorted(os.sched_getaffinity(0))
    counts = counts or sorted({2, len(everything)})
    folder = Path(tempfile.mkdtemp(prefix="waits-"))
    lines = ["| What | Cores | Seconds | Aim | Of all cores, seconds | Peak memory, GB |",
             "|---|---:|---:|---|---:|---:|"]
    for title, arguments, aims in jobs(folder):
        for count in counts:
            seconds, spent, peak_mb = min(measure([tintfall, *arguments], everything[:count]) for _ in range(2))
            lines.append(f"| {title} | {count} | {seconds:.1f} | {verdict(seconds, aims.get(count))} "
                         f"| {spent:.1f} | {peak_mb / 1000:.2f} |")
            print(lines[-1], file=sys.stderr, flush=True)
    return lines


def jobs(folder: Path):
    """What is timed: a title, the command's arguments, and the seconds aimed at by number of cores."""
    for size, rings, sides, aims in (("1.28", 501, 1280, {2: 5, 16: 1.5}), ("5.12", 1001, 2560, {2: 18})):
        mesh = folder / f"vase-{size}.stl"
        stl(mesh, vase(rings, sides))
        plan = folder / f"vase-{size}.plan.ron"
        plan.write_text(PLAN % mesh.name)
        yield (f"`prepare`, a ribbed vase of {size} million facets",
               ["prepare", plan, "--out", folder / "out"], aims)
    for name, written, texture, what in (
            ("scan", scan, speckled, "a scan of even facets, its texture of 26 thousand colours"),
            ("ball", ball, every_colour, "a ball with poles, its texture of nearly every colour")):
        written(folder / f"{name}.obj", f"{name}.mtl")
        (folder / f"{name}.mtl").write_text(f"newmtl skin\nmap_Kd {name}.png\n")
        png(folder / f"{name}.png", texture())
        yield (f"`new --colours 8`, a million facets: {what}",
               ["new", folder / f"{name}.obj", "--colours", "8", "--out", folder / "out.plan.ron",
                "--replace"], {2: 10})


def vase(rings: int, sides: int):
    """A solid of revolution with ribs, 120 mm high."""
    def at(ring, side):
        if ring in (0, rings):
            return 0.0, 0.0, 120.0 * (ring == rings)
        z = 120 * (ring - 1) / (rings - 2)
        turn = 2 * math.pi * side / sides
        r = (30 + 8 * math.sin(z / 20)) * (1 + 0.02 * math.sin(40 * turn + z / 30))
        return r * math.cos(turn), r * math.sin(turn), z

    low = [at(0, side) for side in range(sides)]
    for ring in range(1, rings + 1):
        high = [at(ring, side) for side in range(sides)]
        for a in range(sides):
            b = (a + 1) % sides
            if ring > 1:
                yield low[a], low[b], high[b]
            if ring < rings:
                yield low[a], high[b], high[a]
        low = high


def grid(file, rows, first):
    """Writes the facets of a grid of vertices whose first has a number."""
    columns = rows[1]
    for row in range(rows[0]):
        for column in range(columns):
            a = first + row * (columns + 1) + column
            b, c, d = a + 1, a + columns + 2, a + columns + 1
            file.write(f"f {a}/{a} {b}/{b} {c}/{c}\nf {a}/{a} {c}/{c} {d}/{d}\n")


def ball(path: Path, materials: str):
    columns, rows = 1000, 501
    with path.open("w") as file:
        file.write(f"mtllib {materials}\nusemtl skin\n")
        for row in range(rows + 1):
            up = math.pi * row / rows
            ring = 0 if row in (0, rows) else 40 * math.sin(up)
            for column in range(columns + 1):
                turn = 2 * math.pi * (column % columns) / columns
                file.write("v %.7g %.7g %.7g\nvt %.7g %.7g\n" % (
                    ring * math.cos(turn), ring * math.sin(turn), -40 * math.cos(up),
                    column / columns, row / rows))
        grid(file, (rows, columns), 1)


def scan(path: Path, materials: str):
    """A rippled ball in even facets, each sixth of it with a part of the texture for itself."""
    cells = 289
    warped = [math.tan(math.pi / 4 * (2 * i / cells - 1)) for i in range(cells + 1)]
    with path.open("w") as file:
        file.write(f"mtllib {materials}\nusemtl skin\n")
        first = 1
        for face in range(6):
            axis, end = face % 3, face // 3
            for j in range(cells + 1):
                for i in range(cells + 1):
                    # Turned alike, so that what faces out on one side of the cube does on the next.
                    place = [warped[cells * end], *((warped[i], warped[j]) if end else (warped[j], warped[i]))]
                    place = place[-axis:] + place[:-axis]
                    size = math.sqrt(sum(p * p for p in place))
                    x, y, z = (p / size for p in place)
                    r = scan_radius(x, y, z)
                    file.write("v %.7g %.7g %.7g\nvt %.7g %.7g\n" % (
                        r * x, r * y, r * z, (axis + 0.02 + 0.96 * i / cells) / 3,
                        (end + 0.02 + 0.96 * j / cells) / 2))
            grid(file, (cells, cells), first)
            first += (cells + 1) ** 2


def waves():
    """A wave in 65536 steps, as bytes."""
    return bytes(int(127.5 + 127.5 * math.sin(2 * math.pi * i / 65536)) for i in range(65536))


def every_colour():
    """Rows of a texture whose three channels vary by themselves."""
    wave = waves()
    for y in range(PIXELS):
        row = bytearray(3 * PIXELS)
        for channel, scale in enumerate((1.0, 0.7, 1.9)):
            begin = int(25 * y / PIXELS / scale * 10430)
            step = 40 * scale / PIXELS * 10430
            row[channel::3] = bytes(wave[(begin + int(step * x)) & 65535] for x in range(PIXELS))
        yield row


def speckled():
    """Rows of a texture as of a photographed thing: earths and greens, with a grain."""
    wave, rand = waves(), random.Random(19)
    tables = [bytes(int(a + (b - a) * (i / 255) ** c) for i in range(256))
              for a, b, c in ((40, 214, 0.8), (52, 190, 1.1), (30, 150, 1.6))]
    fine = bytes(i & 7 for i in range(256))
    for y in range(PIXELS):
        begin = int(9000 * math.sin(y / 300) + 6000 * math.sin(y / 97))
        base = bytes(wave[(begin + 61 * x + (x * y >> 9)) & 65535] for x in range(PIXELS))
        row = bytearray(3 * PIXELS)
        for channel, table in enumerate(tables):
            row[channel::3] = base.translate(table)
        grain = rand.randbytes(3 * PIXELS).translate(fine)
        # No channel is above 221, so nothing is carried from one to the next.
        both = int.from_bytes(row, "little") + int.from_bytes(grain, "little")
        yield both.to_bytes(3 * PIXELS, "little")


def png(path: Path, rows):
    """Writes rows of RGB bytes (W3C, Portable Network Graphics, third edition)."""
    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    packer, packed = zlib.compressobj(6), bytearray()
    for row in rows:
        packed += packer.compress(b"\0" + bytes(row))
    packed += packer.flush()
    head = struct.pack(">IIBBBBB", PIXELS, PIXELS, 8, 2, 0, 0, 0)
    path.write_bytes(b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", bytes(packed))
                     + chunk(b"IEND", b""))


if __name__ == "__main__":
    main()
