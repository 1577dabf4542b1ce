"""Times Tintfall beside other libraries, in one run, and writes docs/speed.md.

    python3 -m venv target/peers
    target/peers/bin/pip install -r tests/peers/requirements.txt
    target/peers/bin/python tests/peers/run.py

Each task of each library runs in a process of its own, tied to one core or to two. Nothing
else should run on the machine meanwhile. `--quick` takes small meshes and writes nothing.
`--only rays,tree` times some tasks anew and leaves the others on the page as they are; `--only none`
writes the page anew after a change to what is said about the tables. `--built DIR` takes the programs
`tintfall`, `peer_tasks` and `stroke_study` from a folder, for a machine without a compiler.
"""

import argparse
import datetime
import importlib.metadata
import json
import math
import os
import platform
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np

import strokes
import waits

ROOT = Path(__file__).resolve().parents[2]
HERE = Path(__file__).resolve().parent
PAGE = ROOT / "docs" / "speed.md"
# What there is to say about the tables of strokes and of whole commands.
ON_STROKES = HERE / "strokes.md"
ON_WAITS = HERE / "waits.md"


@dataclass
class Task:
    """What is done, by whom, and what is aimed at."""

    title: str
    name: str
    count: int
    peers: list[str]
    # How near results of different libraries must be, as a share.
    agrees: float
    # Least ratio of the fastest peer's time to ours on one core, and on two.
    aim: float | None = None
    aim_on_two: float | None = None
    # The peers' name of the task, if they have another.
    theirs: str | None = None
    # Greatest peak memory, in sizes of the mesh's own arrays.
    memory: float = 3.0


TASKS = [
    Task("Read a binary STL and weld its corners", "load", 0, ["libigl", "trimesh"], 0, 5.0),
    Task("Cut into 500 layers with their areas", "slice", 500, ["manifold3d", "vtk", "trimesh"], 1e-4, 2.0, 3.0),
    Task("Build the search tree", "tree", 0, ["embreex", "libigl"], 0),
    Task("First hits of a picture of 1000 × 1000", "rays", 1000, ["embreex"], 1e-3, 1.0),
    Task("The same rays, looked for one by one", "picks", 1000, ["embreex"], 1e-3, theirs="rays"),
    Task("Nearest points of the skin, 10,000", "nearest", 10_000, ["libigl", "trimesh"], 1e-6, 2.0),
    Task("Closed bodies of 8 bands", "bands", 8, ["manifold3d"], 1e-6, memory=6.0),
]
# What is also asked of meshes that are no balls.
ON_SHAPES = ["tree", "rays", "picks", "nearest"]
# Peers that do less than the task, for orientation.
LESSER = {"load": ["bytes", "numpy-stl"]}
# trimesh's slices and searches take minutes on large meshes.
TOO_SLOW = {("trimesh", "slice"): 100_000, ("trimesh", "nearest"): 100_000}


def run_one(command: list, cores: int) -> dict:
    threads = str(cores)
    env = os.environ | {"RAYON_NUM_THREADS": threads, "OMP_NUM_THREADS": threads}
    tied = ["taskset", "-c", ",".join(map(str, range(cores))), *map(str, command)]
    done = subprocess.run(tied, env=env, capture_output=True, text=True)
    if done.returncode:
        return {"error": done.stderr.strip().splitlines()[-1:]}
    return json.loads(done.stdout.splitlines()[-1])


class Bench:
    def __init__(self, ours: Path):
        self.ours = ours
        self.folder = Path(tempfile.mkdtemp(prefix="peers-"))

    def mesh(self, subdivisions: int) -> tuple[Path, int]:
        path = self.folder / f"ball-{subdivisions}.stl"
        return path, int(run_one([self.ours, "make", path, subdivisions], 1)["result"])

    def tintfall(self, task: Task, path: Path, cores: int) -> dict:
        return run_one([self.ours, task.name, path, task.count], cores)

    def peer(self, library: str, task: Task, path: Path, cores: int) -> dict:
        return run_one([sys.executable, HERE / "peers.py", library, task.theirs or task.name, path, task.count], cores)


def where() -> str:
    """What a table was timed on."""
    cpu = next((line.split(":", 1)[1].strip() for line in Path("/proc/cpuinfo").read_text().splitlines()
                if line.startswith("model name")), platform.machine())
    return f"{cpu}, {os.cpu_count()} cores, {datetime.date.today():%-d %B %Y}."


def arrays_mb(facets: int) -> float:
    """A closed mesh's own arrays: three f64 a vertex, three u32 a facet."""
    return (facets / 2 * 24 + facets * 12) / 2**20


def table_of(bench: Bench, task: Task, sizes: list[int]) -> tuple[list[str], list[str]]:
    lines = [
        f"### {task.title}", "",
        "| Facets | Library | Cores | Seconds | Times ours | Peak memory, MB |",
        "|---:|---|---:|---:|---:|---:|",
    ]
    lines[2:2] = [where(), ""]
    verdicts, ours_by_size = [], []
    for subdivisions in sizes:
        path, facets = bench.mesh(subdivisions)
        mine = {cores: bench.tintfall(task, path, cores) for cores in (1, 2)}
        ours_by_size.append((facets, mine[1]["seconds"], mine[1]["peak_mb"]))
        for cores in (1, 2):
            m = mine[cores]
            lines.append(f"| {facets:,} | **Tintfall** | {cores} | {m['seconds']:.4f} | 1 | {m['peak_mb']:.0f} |")
        ratios = {1: [], 2: []}
        best = {}
        for library in task.peers + LESSER.get(task.name, []):
            if facets > TOO_SLOW.get((library, task.name), math.inf):
                continue
            for cores in (1, 2):
                theirs = bench.peer(library, task, path, cores)
                if "error" in theirs:
                    print("  ", library, task.name, theirs["error"])
                    lines.append(f"| {facets:,} | {library} | {cores} | failed | | |")
                    continue
                off = abs(theirs["result"] / mine[cores]["result"] - 1)
                if library in task.peers and off > task.agrees:
                    print(f"   {library} disagrees on {task.name}: {theirs['result']} and {mine[cores]['result']}")
                    lines.append(f"| {facets:,} | {library} | {cores} | disagrees by {off:.1e} | | |")
                    continue
                # Some libraries are slower on two cores; they may have one then.
                best[library] = min(best.get(library, math.inf), theirs["seconds"])
                ratio = best[library] / mine[cores]["seconds"]
                if library in task.peers:
                    ratios[cores].append((ratio, library))
                lines.append(f"| {facets:,} | {library} | {cores} | {theirs['seconds']:.4f} | {theirs['seconds'] / mine[cores]['seconds']:.2f} | {theirs['peak_mb']:.0f} |")
        for cores, aim in ((1, task.aim), (2, task.aim_on_two)):
            if aim and ratios[cores]:
                ratio, library = min(ratios[cores])
                held = "held" if ratio >= aim else "**missed**"
                on = "one core" if cores == 1 else "two cores"
                verdicts.append(
                    f"| {task.title} | {facets:,} | {on} | {library} | {ratio:.2f} | {aim} | {held} |")
        print("\n".join(lines[-8:]), flush=True)
    (n0, t0, _), (n1, t1, peak) = ours_by_size[0], ours_by_size[-1]
    exponent = math.log(t1 / t0) / math.log(n1 / n0)
    memory = peak / arrays_mb(n1)
    lines += ["", f"Time grows with facets to the power {exponent:.2f}. Peak memory at "
              f"{n1:,} facets is {memory:.1f} times the mesh's own arrays.", ""]
    held = "held" if memory <= task.memory else "**missed**"
    verdicts.append(f"| {task.title}: peak memory | {n1:,} | one core | the mesh's arrays | {memory:.1f} | ≤ {task.memory} | {held} |")
    return lines, verdicts


def lattice(cells: int) -> np.ndarray:
    """Struts along three axes, each a box of its own, turned so that no ray runs along one."""
    box = np.array(list(strokes.box(1, 1, 1)))
    at = np.arange(cells) * 3.0
    places = np.stack(np.meshgrid(at, at, at), -1).reshape(-1, 1, 1, 3)
    struts = [box * np.where(np.arange(3) == axis, 3.2, 0.5) for axis in range(3)]
    corners = np.concatenate([(strut + places).reshape(-1, 3, 3) for strut in struts])
    turned = np.linalg.qr(np.array([[0.9, 0.3, 0.2], [-0.2, 1.0, 0.3], [0.1, -0.4, 0.8]]))[0]
    return corners @ turned


def shapes(bench: Bench, quick: bool):
    """Meshes that are no balls: a title and a path for each."""
    ball, _ = bench.mesh(5 if quick else 7)
    skin = np.frombuffer(ball.read_bytes()[84:], np.dtype("<12f4,<u2"))["f0"][:, 3:].reshape(-1, 3, 3)
    for title, corners in (
            ("a scan with ripples", np.array(list(strokes.scan(40 if quick else 330)))),
            ("a shell 0.4 mm thick", np.concatenate([skin, skin[:, ::-1] * (1 - 0.4 / 50)])),
            ("a lattice of struts", lattice(10 if quick else 33))):
        path = bench.folder / f"{title.replace(' ', '-')}.stl"
        strokes.stl(path, corners.tolist())
        yield title, path


def on_shapes(bench: Bench, quick: bool) -> list[str]:
    """Tasks of the search tree on other meshes than balls."""
    lines = ["### Meshes that are no balls", "", f"One core. {where()}", "",
             "| Mesh | Facets | Task | Library | Seconds | Times ours |", "|---|---:|---|---|---:|---:|"]
    for title, path in shapes(bench, quick):
        facets = int(run_one([bench.ours, "tree", path], 1)["result"])
        for task in (task for task in TASKS if task.name in ON_SHAPES):
            mine = bench.tintfall(task, path, 1)
            lines.append(f"| {title} | {facets:,} | {task.title} | **Tintfall** | {mine['seconds']:.4f} | 1 |")
            for library in task.peers:
                if facets > TOO_SLOW.get((library, task.name), math.inf):
                    continue
                theirs = bench.peer(library, task, path, 1)
                if "error" in theirs:
                    lines.append(f"| {title} | {facets:,} | {task.title} | {library} | failed | |")
                    continue
                off = abs(theirs["result"] / mine["result"] - 1)
                told = f"{theirs['seconds'] / mine['seconds']:.2f}" if off <= task.agrees else f"disagrees by {off:.1e}"
                lines.append(f"| {title} | {facets:,} | {task.title} | {library} | {theirs['seconds']:.4f} | {told} |")
            print("\n".join(lines[-2:]), flush=True)
    return lines + [""]


def growth(bench: Bench) -> list[str]:
    """How our own time grows with layers and with pixels."""
    path, facets = bench.mesh(7)
    lines = ["### How time grows with the count", "",
             f"Tintfall alone, {facets:,} facets, one core. {where()}", "",
             "| Task | Count | Seconds | Grows with the count to the power |", "|---|---:|---:|---:|"]
    for title, name, counts, power in (
            ("Layers", "slice", (125, 500, 2000), 1),
            ("Pixels of first hits", "rays", (500, 1000, 2000), 2),
            ("Regions and blends of points", "classify", (100_000, 400_000, 1_600_000), 1)):
        before = None
        for count in counts:
            done = run_one([bench.ours, name, path, count], 1)
            amount = count**power
            exponent = ""
            if before:
                exponent = f"{math.log(done['seconds'] / before[1]) / math.log(amount / before[0]):.2f}"
            lines.append(f"| {title} | {amount:,} | {done['seconds']:.4f} | {exponent} |")
            before = amount, done["seconds"]
    points, seconds = before
    lines += ["", f"That is {points / seconds / 1e6:.1f} million points a second for their region and blend.", ""]
    return lines


def whole(command: list, cores: int) -> tuple[float, float]:
    """Seconds and peak memory in MB of a command, the faster of two runs."""
    runs = [strokes.measure(command, range(cores)) for _ in range(2)]
    seconds, _, peak_mb = min(runs)
    return seconds, peak_mb


def prepared(tintfall: Path, folder: Path) -> list[str]:
    """The main job on the demonstration parts."""
    subprocess.run([tintfall, "demo", "--out", folder / "demo"], check=True, capture_output=True)
    lines = ["### The whole job on the demonstration parts", "",
             f"`tintfall prepare`: mesh, regions, prediction, schedules and pictures. {where()}", "",
             "| Part | Cores | Seconds | Aim | Peak memory, MB |", "|---|---:|---:|---|---:|"]
    for plan in sorted((folder / "demo").rglob("*.plan.ron")):
        for cores in (1, 2):
            seconds, peak = whole([tintfall, "prepare", plan, "--out", folder / "out"], cores)
            aim = strokes.verdict(seconds, 1 if cores == 2 else None)
            lines.append(f"| {plan.name.split('.')[0]} | {cores} | {seconds:.2f} | {aim} | {peak:.0f} |")
    return lines + [""]


def large(tintfall: Path) -> list[str]:
    """Whole commands on large parts."""
    return ["### Large parts, from the command to its end", "",
            f"Seconds, beside what is aimed at. {where()}", "", *waits.table(tintfall), ""]


def painted(tintfall: Path, study: Path) -> list[str]:
    """Single dabs, and plans of many strokes and bands."""
    dabs = subprocess.run([study], capture_output=True, text=True)
    told = dabs.stdout.strip().splitlines()
    return ["### Dabs on thin facets", "", where(), "", *told, "",
            "### Plans of many strokes and bands", "",
            f"`tintfall prepare` on two cores, with all of its pictures and pages: seconds and GB, beside what "
            f"is aimed at. {where()}", "", *strokes.table(tintfall), ""]


# A post in short straight moves, in rings from the outside inwards.
POST = dict(radius_mm=50.0, height_mm=200.0, layer_mm=0.2, line_mm=0.45)
PLAN = """(version: 1, title: "Post", mesh: (file: "post.stl"),
 spools: [(name: "White", colour: Hex("#f2efe6")), (name: "Blue", colour: Hex("#14507a"))],
 layers: (first_layer_mm: 0.2, layer_mm: 0.2),
 regions: [(name: "All", mask: Whole, paint: Fixed([1, 0])),
           (name: "Over", mask: MASK, paint: Fixed([0.2, 0.8]))])
"""
MASKS = {
    "one band, 50 to 100 mm": "Band(from_mm: 50, to_mm: 100)",
    "a painted side in 600 layers": "Sphere(centre_mm: (50, 0, 100), radius_mm: 60)",
}


def post_toolpath(path: Path, rings: int, pieces: int):
    radius, layer, line = POST["radius_mm"], POST["layer_mm"], POST["line_mm"]
    body = []
    for ring in range(rings):
        r = radius - line / 2 - line * (rings - 1 - ring)
        around = [(150 + r * math.cos(2 * math.pi * i / pieces), 150 + r * math.sin(2 * math.pi * i / pieces))
                  for i in range(pieces + 1)]
        filament = line * layer * 2 * math.pi * r / pieces / (math.pi * 1.75**2 / 4)
        body.append("G0 X%.3f Y%.3f F9000\nG1 F2400\n" % around[0])
        body += ["G1 X%.3f Y%.3f E%.5f\n" % (x, y, filament) for x, y in around[1:]]
    body = "".join(body)
    with path.open("w") as file:
        file.write("; made for a measurement\nG21\nG90\nM83\nG92 E0\n")
        for i in range(round(POST["height_mm"] / layer)):
            file.write("G0 Z%.3f F9000\n%s" % (layer * (i + 1), body))


def woven(bench: Bench, tintfall: Path, quick: bool) -> list[str]:
    """Weaving beside counting the lines of the same file."""
    folder = bench.folder
    run_one([bench.ours, "post", folder / "post.stl", 240], 1)
    lines = ["### Weaving a toolpath", "",
             f"`tintfall weave` on one core; a cylinder in short straight moves. {where()}", "",
             "| Plan | File, MB | Seconds | MB/s | Peak memory, MB | `wc -l`, seconds |", "|---|---:|---:|---:|---:|---:|"]
    sizes = {"10MB": (3, 110), "100MB": (10, 340)} | ({} if quick else {"1GB": (33, 1050)})
    for name, (rings, pieces) in sizes.items():
        path = folder / f"{name}.gcode"
        post_toolpath(path, rings, pieces)
        megabytes = path.stat().st_size / 1e6
        counted, _ = whole(["wc", "-l", path], 1)
        for title, mask in MASKS.items():
            if name == "1GB" and mask.startswith("Sphere"):
                continue
            plan = folder / "post.plan.ron"
            plan.write_text(PLAN.replace("MASK", mask))
            seconds, peak = whole([tintfall, "weave", plan, path, "--out", folder / "woven.gcode"], 1)
            lines.append(f"| {title} | {megabytes:.0f} | {seconds:.2f} | {megabytes / seconds:.0f} | {peak:.0f} | {counted:.2f} |")
            print(lines[-1], flush=True)
        path.unlink()
    return lines + [""]


BOUNDS = """## What bounds it

Closed bodies: the walls between bodies are listed once, with a body on each side, beside the skin that
is cut and the bodies that come out.

The tree compared with another of its kind: `obvhs` 0.4, the eight-wide compressed tree of the same
literature, in single precision and with its facets in the tree's order. The figures are from one
core of a 16-core machine, before the tree had wide registers, medians of `cargo bench -p geometry --bench surface -- "tree|rays"`, a picture of 200 × 200 rays:

| | 82 k facets, ours | `obvhs` | 1.3 M facets, ours | `obvhs` |
| --- | ---: | ---: | ---: | ---: |
| building (ours on all cores) | 37 ms | 61 ms | 629 ms | 1037 ms |
| rays one by one | 24.6 ms | 23.0 ms | 45.9 ms | 35.5 ms |
| rays together | 18.9 ms | | 40.5 ms | |

We keep ours. On many cores it builds faster. It holds no copy of the facets and tests them in
double precision. The same tree finds nearest points, which weaving and verifying need by the
million; the other has no such search. Its rays on large meshes are 12 % faster, and that is what to
learn from it.

First hits: the rays of a picture go through the tree eight at a time, four by two pixels. Facets
are tested in double precision from the mesh itself, so that no ray slips through and no copy is
kept. The tree has eight boxes in each node, with one byte for each side. Where a processor has
registers for eight numbers, which is asked when the program runs, the eight boxes of a node, or the
eight rays at a box, are computed at once; elsewhere four at a time, with the same result to the last
digit. What bounds all eight rays rules most boxes out before any ray is asked alone. By sampling, a
seventh of the time goes into making rays ready, a quarter into the exact test of facets, and the
rest into walking the tree. One by one, rays take 1.5 to 2.5 times as long: each waits for one node
before it knows the next. On one kind of machine the ratio varies by a third from run to run: six
runs on 1 December gave 0.92 to 1.31, 0.81 to 1.22 and 0.85 to 1.19 at the three sizes. That of layers
on one core, at the two larger sizes, was 1.84 to 2.27 in three runs on that day, about the aim.
Before the wide registers and the blocks it was 0.94, 0.84 and 0.78 there. Of meshes that are no balls,
the lattice is slowest: rays pass many struts, so the eight of a block part early.

Nearest points: a point off a ball is nearly as far from many facets. Any tree of boxes must open
some 30 to 170 of their boxes. By sampling, some 55 % of the time went into the boxes and 40 % into
those facets. Since then, boxes are sorted without guesses, which saved a seventh of the whole.

## Where your own time goes

`--timings` on any command prints a table on standard error, after the work. For each stage it has when it
began, how long it took, how often it ran, and how many cores were busy on average meanwhile. Then come
the whole time, on Linux the processor time of all cores, and the peak memory. Stages that run side by side
overlap, and each counts the cores of both.
`cargo run --release -- prepare part.plan.ron --out out --timings`.
"""


FIGURES = "## All figures"
VERDICTS = "| Task | Facets | On | Beside | Ratio | Aim | |"


def libraries() -> str:
    """What is compared with."""
    names = ["trimesh", "libigl", "manifold3d", "vtk", "embreex", "numpy-stl", "numpy"]
    versions = ", ".join(f"{name} {importlib.metadata.version(name)}" for name in names)
    return f"Python {platform.python_version()}, {versions}."


def page(libraries: str, tables: list[str], verdicts: list[str]) -> str:
    head = [
        "# Speed beside other libraries", "",
        "`tests/peers/run.py` writes this page; it says how to repeat the runs. The meshes are balls of",
        "equal facets, and others further down. Each figure is the fastest of at least three runs, and of two",
        "where whole commands are timed. Each task has its own process, tied to one core or to two. The time",
        "to build a search tree is a task of its own, and in no other. 'Times ours' is the time as a multiple",
        "of Tintfall's. On two cores some libraries still use one, and some are slower; the ratios below take",
        "the better of their times on one and two. manifold3d has no call that cuts many layers at once. Peak",
        "memory is that of the whole process, with its tree.", "",
        libraries, "",
        "## What was aimed at", "",
        "Ratios of time are the fastest other library's time divided by ours, so more is better. Ratios",
        "of memory are ours divided by the size of the mesh's own arrays, so less is better.", "",
        VERDICTS, "|---|---:|---|---|---:|---:|---|",
        *verdicts, "", BOUNDS, ON_WAITS.read_text(), ON_STROKES.read_text(), FIGURES, "",
    ]
    return "\n".join(head + tables).rstrip() + "\n"


def sections(tables: str) -> dict[str, str]:
    """Tables by their titles."""
    each = [part.rstrip() for part in tables.split("### ")[1:]]
    return {part.split("\n", 1)[0]: part for part in each}


def renewed(old: str, tables: list[str], verdicts: list[str]) -> str:
    """A page of which some tables and verdicts are new."""
    head, figures = old.split(FIGURES)
    kept = sections(figures) | sections("\n".join(tables))
    order = [task.title for task in TASKS]
    place = lambda title: order.index(title) if title in order else len(order)
    tables = [f"### {kept[title]}\n" for title in sorted(kept, key=place)]
    before, rest = head.split(VERDICTS)
    rows = rest.split("\n\n", 1)[0]
    task_of = lambda row: row.split("|")[1].strip().removesuffix(": peak memory")
    fresh = {task_of(row) for row in verdicts}
    rows = [row for row in rows.strip().splitlines()[1:] if task_of(row) not in fresh] + verdicts
    rows.sort(key=lambda row: place(task_of(row)))
    compared = next(line for line in before.splitlines() if line.startswith("Python "))
    return page(compared, tables, rows)


def programs(built: Path | None) -> tuple[Path, Path, Path]:
    """The command, the program of our tasks, and that of the stroke study."""
    names = ["peer_tasks", "stroke_study"]
    if built:
        return built.resolve() / "tintfall", *(built.resolve() / name for name in names)
    build = ["cargo", "build", "--release", "--quiet", "-p", "tintfall", "-p", "tintfall-tests",
             "-p", "geometry", "--bin", "tintfall", *(part for name in names for part in ("--example", name))]
    subprocess.run(build, cwd=ROOT, check=True)
    target = Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target")) / "release"
    return target / "tintfall", *(target / "examples" / name for name in names)


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="small meshes, and no page")
    parser.add_argument("--only", help="tasks to time anew, such as rays,tree; 'shapes' for other meshes")
    parser.add_argument("--built", type=Path, help="a folder with the programs")
    options = parser.parse_args()
    tintfall, ours, study = programs(options.built)
    bench = Bench(ours)
    only = options.only.split(",") if options.only else None
    # Before all work: a library may be missing.
    compared = None if options.quick or only else libraries()
    # 20 × 4ⁿ facets: 20 thousand, 328 thousand, 1.3 million, 5.2 million.
    sizes = [4, 5] if options.quick else [5, 7, 8, 9]
    tables, verdicts = [], []
    for task in TASKS:
        if only and task.name not in only:
            continue
        # Five million facets are asked of reading alone.
        lines, found = table_of(bench, task, sizes if task.name == "load" else sizes[:3])
        tables += lines
        verdicts += found
    others = {"shapes": lambda: on_shapes(bench, options.quick), "growth": lambda: growth(bench),
              "prepared": lambda: prepared(tintfall, bench.folder),
              "woven": lambda: woven(bench, tintfall, options.quick),
              "large": lambda: large(tintfall), "strokes": lambda: painted(tintfall, study)}
    for name, made in others.items():
        if only and name not in only or options.quick and name in ("large", "strokes"):
            continue
        lines = made()
        print("\n".join(lines), flush=True)
        tables += lines
    print("\n".join(verdicts))
    if not options.quick:
        PAGE.write_text(renewed(PAGE.read_text(), tables, verdicts) if only
                        else page(compared, tables, verdicts))


if __name__ == "__main__":
    main()
