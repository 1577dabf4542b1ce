"""Times Tintfall beside other libraries, in one run, and writes docs/speed.md.

    python3 -m venv target/peers
    target/peers/bin/pip install -r tests/peers/requirements.txt
    target/peers/bin/python tests/peers/run.py

Each task of each library runs in a process of its own, tied to one core or to two. Nothing
else should run on the machine meanwhile. `--quick` takes small meshes and writes nothing.
"""

import argparse
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

ROOT = Path(__file__).resolve().parents[2]
HERE = Path(__file__).resolve().parent
PAGE = ROOT / "docs" / "speed.md"


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
    aim: float
    aim_on_two: float | None = None


TASKS = [
    Task("Read a binary STL and weld its corners", "load", 0, ["libigl", "trimesh"], 0, 5.0),
    Task("Cut into 500 layers with their areas", "slice", 500, ["manifold3d", "vtk", "trimesh"], 1e-4, 2.0, 3.0),
    Task("First hits of a picture of 1000 × 1000", "rays", 1000, ["embreex"], 1e-3, 0.5),
    Task("Nearest points of the skin, 10,000", "nearest", 10_000, ["libigl", "trimesh"], 1e-6, 2.0),
]
# Peers that do less than the task, for orientation.
LESSER = {"load": ["bytes", "numpy-stl"]}
# trimesh's slices and searches take minutes on large meshes.
TOO_SLOW = {("trimesh", "slice"): 400_000, ("trimesh", "nearest"): 400_000}


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
        return run_one([sys.executable, HERE / "peers.py", library, task.name, path, task.count], cores)


def arrays_mb(facets: int) -> float:
    """A closed mesh's own arrays: three f64 a vertex, three u32 a facet."""
    return (facets / 2 * 24 + facets * 12) / 2**20


def table_of(bench: Bench, task: Task, sizes: list[int]) -> tuple[list[str], list[str]]:
    lines = [
        f"### {task.title}", "",
        "| Facets | Library | Cores | Seconds | Times ours | Peak memory, MB |",
        "|---:|---|---:|---:|---:|---:|",
    ]
    verdicts, ours_by_size = [], []
    for subdivisions in sizes:
        path, facets = bench.mesh(subdivisions)
        mine = {cores: bench.tintfall(task, path, cores) for cores in (1, 2)}
        ours_by_size.append((facets, mine[1]["seconds"], mine[1]["peak_mb"]))
        for cores in (1, 2):
            m = mine[cores]
            lines.append(f"| {facets:,} | **Tintfall** | {cores} | {m['seconds']:.4f} | 1 | {m['peak_mb']:.0f} |")
        ratios = {1: [], 2: []}
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
                ratio = theirs["seconds"] / mine[cores]["seconds"]
                if library in task.peers:
                    ratios[cores].append((ratio, library))
                lines.append(f"| {facets:,} | {library} | {cores} | {theirs['seconds']:.4f} | {ratio:.2f} | {theirs['peak_mb']:.0f} |")
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
    lines += ["", f"Time grows with facets to the power {exponent:.2f}. Peak memory at "
              f"{n1:,} facets is {peak / arrays_mb(n1):.1f} times the mesh's own arrays.", ""]
    return lines, verdicts


def page(tables: list[str], verdicts: list[str]) -> str:
    names = ["trimesh", "libigl", "manifold3d", "vtk", "embreex", "numpy-stl", "numpy"]
    versions = ", ".join(f"{name} {importlib.metadata.version(name)}" for name in names)
    cpu = next((line.split(":", 1)[1].strip() for line in Path("/proc/cpuinfo").read_text().splitlines()
                if line.startswith("model name")), platform.machine())
    head = [
        "# Speed beside other libraries", "",
        "Written by `tests/peers/run.py`; see there how to repeat it. Balls of equal facets; the fastest",
        "of at least three runs; each task in a process of its own, tied to one core or to two. What a",
        "library makes before it can answer (its search tree) is not counted, for anyone. 'Times ours' is",
        "how many times as long as Tintfall it took. On two cores some libraries still use one.", "",
        f"Machine: {cpu}, {os.cpu_count()} cores, {platform.system()}. Python {platform.python_version()}, {versions}.", "",
        "## What was aimed at", "",
        "| Task | Facets | On | Fastest peer | Its time in ours | Aim | |", "|---|---:|---|---|---:|---:|---|",
        *verdicts, "", "## All figures", "",
    ]
    return "\n".join(head + tables).rstrip() + "\n"


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="small meshes, and no page")
    options = parser.parse_args()
    build = ["cargo", "build", "--release", "--quiet", "-p", "tintfall-tests", "--example", "peer_tasks"]
    subprocess.run(build, cwd=ROOT, check=True)
    target = os.environ.get("CARGO_TARGET_DIR", ROOT / "target")
    bench = Bench(Path(target) / "release" / "examples" / "peer_tasks")
    # 20 × 4ⁿ facets: 20 thousand, 328 thousand, 1.3 million, 5.2 million.
    sizes = [4, 5] if options.quick else [5, 7, 8, 9]
    tables, verdicts = [], []
    for task in TASKS:
        # Five million facets are asked of reading alone.
        lines, found = table_of(bench, task, sizes if task.name == "load" else sizes[:3])
        tables += lines
        verdicts += found
    print("\n".join(verdicts))
    if not options.quick:
        PAGE.write_text(page(tables, verdicts))


if __name__ == "__main__":
    main()
