"""Photographs of finished parts with planted faults, rendered by standing.py: are their colours and causes read right?

Each part is printed by a simulator of its own: drives that feed too little over some height,
exchanged spools, changes at wrong heights; plastic through a pipe into a stirred pot. Its plastic
is spectra that colour-science recovers (Jakob and Hanika, Computer Graphics Forum 38, 2019; from
memory) from the colours that the schedule states, off by a few percent as spools are.

    python finished_parts.py TINTFALL [--count N] [--first SEED]     the study of docs/photographs.md
"""

import argparse
import contextlib
import csv
import json
import os
import subprocess
import sys
import tempfile
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path

import cv2
import numpy as np
import trimesh

import demo_photograph
import plastics
import standing
from bad_prints import HEIGHTS, LITTLE, MUCH, SWAPPED, names_of
from plastics import NM
from standing import Pose
from tools import Check

SOURCE = "spectra through the renderer of standing.py; CIEDE2000 by colour-science"
LIGHTS = ["D50", "D55", "D65", "D75"]
DEAD, MIXED = 20.0, 30.0
KINDS = ["nothing", "too little until a height", "too little from a height on", "too little for a while",
         "swapped", "wrong heights"]
# Plastic is followed in portions of so many mm³.
PORTION = 8.0


@dataclass
class Fault:
    """What went wrong with a print; findings that are right for it, or none for a sound one."""

    kind: str
    right: list
    feed: list = field(default_factory=lambda: [lambda z: 1.0] * 2)
    swapped: bool = False
    height: object = lambda z: z


def fault(kind, draw, top):
    drive = int(draw.integers(2))
    few = draw.uniform(0.4, 0.75)
    low, high = draw.uniform(0.3, 0.45) * top, draw.uniform(0.6, 0.75) * top
    spell = {"too little until a height": lambda z: few if z < high else 1.0,
             "too little from a height on": lambda z: few if z >= low else 1.0,
             "too little for a while": lambda z: few if low <= z < high else 1.0}
    # Colours alone can't tell one drive's too little from the other's too much.
    little = [(LITTLE, drive), (MUCH, 1 - drive)]
    if kind in spell:
        feed = [spell[kind] if i == drive else (lambda z: 1.0) for i in range(2)]
        return Fault(kind, little, feed=feed)
    if kind == "swapped":
        return Fault(kind, [(SWAPPED, None)], swapped=True)
    if kind == "wrong heights":
        off = draw.choice([-1, 1]) * draw.uniform(8, 15)
        return Fault(kind, [(HEIGHTS, None)], height=lambda z: z - off)
    return Fault(kind, [])


def printed(bad, layers, commands):
    """The first spool's share in each layer, as it comes out of the nozzle."""
    volumes, tops = (np.array([float(row[name]) for row in layers]) for name in ("volume_mm3", "top_mm"))
    bottoms = np.array([float(row["bottom_mm"]) for row in layers])
    places, shares = (np.array([float(row[name]) for row in commands]) for name in ("extruded_mm3", "share_1"))
    edges = np.concatenate([[0.0], np.cumsum(volumes)])
    first = 1 - shares[0] if bad.swapped else shares[0]
    pipe, head, pot = [(DEAD, first)], 0, first
    out = []
    for layer, volume in enumerate(volumes):
        z = (bottoms[layer] + tops[layer]) / 2
        shift = np.interp(bad.height(z), np.concatenate([[0.0], tops]), edges) - (edges[layer] + edges[layer + 1]) / 2
        count = max(1, round(volume / PORTION))
        laid = of_first = 0.0
        for i in range(count):
            told = edges[layer] + (i + 0.5) * volume / count + shift
            share = shares[max(np.searchsorted(places, told, side="right") - 1, 0)]
            entering = np.array([share * bad.feed[0](z), (1 - share) * bad.feed[1](z)]) * volume / count
            if bad.swapped:
                entering = entering[::-1]
            amount = entering.sum()
            if amount <= 0:
                continue
            pipe.append((amount, entering[0] / amount))
            wanted, of_it = amount, 0.0
            while wanted > 1e-12:
                held, its = pipe[head]
                take = min(held, wanted)
                of_it += take * its
                wanted -= take
                pipe[head] = (held - take, its)
                head += held <= take
            pot += (of_it / amount - pot) * (1 - np.exp(-amount / MIXED))
            laid, of_first = laid + amount, of_first + pot * amount
        out.append(of_first / laid if laid > 0 else pot)
    return np.array(out)


def any_pose(seed, size=(1200, 1600)):
    """A picture as people take them."""
    draw = np.random.default_rng(seed + 5000)
    side = lambda most: draw.uniform(-most, most)
    lamp = lambda turn: (np.sin(np.radians(turn)), np.cos(np.radians(turn)) * 0.8, draw.uniform(0.7, 1.6))
    return Pose(
        seed=seed, size=size, light=LIGHTS[seed % len(LIGHTS)], rise_deg=draw.uniform(36, 52), aside_deg=side(16),
        roll_deg=side(5), distance_mm=draw.uniform(365, 400), focal=draw.uniform(0.71, 0.77), k1=side(0.05),
        at=(90 + side(14), draw.uniform(-32, -14)), turn_deg=draw.uniform(0, 360),
        print_scale=draw.choice([1.0, 1.0, 0.97]),
        lamps=((lamp(draw.uniform(-75, -20)), draw.uniform(700, 1500), draw.uniform(0.3, 0.5)),
               (lamp(draw.uniform(20, 75)), draw.uniform(700, 1500), draw.uniform(0.1, 0.25))),
        vignetting=draw.uniform(0.1, 0.3), curve=draw.uniform(0.0, 0.3), exposure=draw.uniform(0.55, 0.75),
        noise=draw.uniform(0.003, 0.008), blur_px=draw.uniform(0.5, 1.0),
    )


class Parts:
    """The demonstration parts, a card, and the spectra of their plastics."""

    def __init__(self, program, folder):
        self.program, self.folder = program, Path(folder)
        self.folder.mkdir(exist_ok=True)
        self.demo = self.folder / "demo"
        self.run("demo", "--out", self.demo)
        self.run("card", "--out", self.folder / "card.svg")
        self.card = (self.folder / "card.svg").read_text()
        self.plan = self.demo / "lamp-shade.plan.ron"
        self.layers = self.rows("schedule.csv")
        self.commands = self.rows("commands.csv")
        self.tops = np.array([float(row["top_mm"]) for row in self.layers])
        self.mesh = trimesh.load(self.demo / "lamp-shade.stl")
        # What colours the spools' blends have: from the schedule of a fade through all of them.
        share = np.array([float(row["share_1"]) for row in self.layers])
        lab = np.array([[float(row[f"lab_{c}"]) for c in "lab"] for row in self.layers])
        order = np.argsort(share)
        # A little of a strong spool changes a pale one most.
        self.grid = 1 - np.linspace(1, 0, 21) ** 3
        labs = np.array([[np.interp(g, share[order], lab[order, i]) for i in range(3)] for g in self.grid])
        self.spectra = np.array([demo_photograph.recovered(one) for one in labs])

    def rows(self, name):
        lines = (self.demo / "lamp-shade" / name).read_text(encoding="utf-8").splitlines()
        return list(csv.DictReader(line for line in lines if not line.startswith("#")))

    def run(self, *words):
        return subprocess.run([self.program, *map(str, words)], capture_output=True, text=True)

    def taken(self, seed, kind, **change):
        """A print with a fault, photographed: the picture, its colours by layer, its pose."""
        draw = np.random.default_rng(seed)
        bad = fault(kind, draw, self.tops[-1])
        share = printed(bad, self.layers, self.commands)
        # Spools are a little lighter or darker, warmer or cooler than stated.
        off = 1 + draw.normal(0, 0.02) + draw.normal(0, 0.015) * (NM - 580) / 200
        table = np.array([np.interp(share, self.grid, self.spectra[:, k]) for k in range(len(NM))]).T * off
        pose = any_pose(seed)
        for name, value in change.items():
            setattr(pose, name, value)

        def look(own, facets, see):
            return see(table)[np.searchsorted(self.tops, own[:, 2]).clip(0, len(self.tops) - 1)]

        jpeg, camera, corner, hit = standing.photograph(pose, self.card, self.mesh, look)
        return bad, jpeg, plastics.lab(table), (pose, camera, corner, hit)

    def read(self, name, jpeg, pose, *more):
        photo = self.folder / f"{name}.jpg"
        photo.write_bytes(jpeg)
        out = self.folder / name
        neutrals = [word for place, share in pose.references for word in ("--neutral", f"{'ABC'[place]}={share}")]
        done = self.run("seen", self.plan, photo, *neutrals, "--out", out, *more)
        if done.returncode:
            return done.stderr.strip(), None
        rows = list(csv.DictReader(line for line in (out / "colours.csv").read_text().splitlines() if line[0] != "#"))
        return done.stdout, np.array([[float(row[c]) for c in ("height_mm", "l", "a", "b")] for row in rows])

    def errors(self, seen, truth):
        """ΔE00 of each height."""
        off = []
        for height, *lab in seen:
            near = np.abs(self.tops - 0.1 - height) <= 0.5
            off.append(plastics.difference(lab, truth[near].mean(axis=0)))
        return np.array(off)

    def traced(self, name):
        done = self.run("trace", self.plan, self.folder / name / "colours.csv", "--json")
        return json.loads(done.stdout)["findings"] if done.returncode == 0 else []


def named(bad, findings):
    """Whether the first finding is the fault planted, and what it is called."""
    if not findings:
        return False, "none"
    found = names_of(findings[0])
    told = " + ".join(f"{name}{'' if drive is None else drive + 1}" for name, drive in found) or "nothing"
    told += f" ({findings[0]['chance']:.0%})"
    if not bad.right:
        return not found, told
    return len(found) == 1 and found[0] in bad.right, told


def studied(parts, seed, kind):
    bad, jpeg, truth, (pose, *_) = parts.taken(seed, kind)
    said, seen = parts.read(str(seed), jpeg, pose)
    if seen is None:
        return kind, said, None, None
    right, told = named(bad, parts.traced(str(seed)))
    # Beside what was read what it should be, for whoever looks into the errors.
    near = [np.abs(parts.tops - 0.1 - height) <= 0.5 for height in seen[:, 0]]
    real = np.array([truth[layers].mean(axis=0) for layers in near])
    np.savetxt(parts.folder / str(seed) / "truth.csv", np.hstack([seen, real]), "%.3f", ",")
    return kind, told, parts.errors(seen, truth), right


def poses(tools, parts, name, taken):
    """The pose of camera and part, against OpenCV and against where the renderer has them."""
    pose, camera, corner, _ = taken
    probe = tools.built / "examples" / "part_probe"
    done = subprocess.run([probe, parts.plan, parts.folder / f"{name}.jpg"], check=True, capture_output=True, text=True)
    told = [line.split() for line in done.stdout.splitlines()]
    numbers = lambda word: np.array([[float(v) for v in words[1:]] for words in told if words[0] == word])
    (focal, k1, width, height), = numbers("camera")
    corners, points = numbers("corner"), numbers("point")
    lens = np.array([[focal, 0, width / 2], [0, focal, height / 2], [0, 0, 1]])
    bent = np.array([k1, 0, 0, 0])
    # Their z points away from the viewer's side where x is right and y down.
    flat = np.hstack([corners[:, :2], np.zeros((len(corners), 1))])
    _, turn, shift = cv2.solvePnP(flat, np.ascontiguousarray(corners[:, 2:]), lens, bent)
    there, _ = cv2.projectPoints(points[:, :3] * [1, 1, -1], turn, shift, lens, bent)
    off = np.linalg.norm(there[:, 0] - points[:, 3:], axis=1)
    yield Check("points of the part by the camera of the same corners, middle one, px",
                "OpenCV, solvePnP and projectPoints", np.median(off), 0.1, len(off))
    # A mm of the card that is printed small is less than a mm.
    real = points[:, :3] * [1, 1, -1] * pose.print_scale + [*corner, 0]
    off = np.linalg.norm(camera.project(real) - points[:, 3:], axis=1)
    yield Check("places of the part, middle one, px", "where the camera of standing.py has them", np.median(off), 0.5, len(off))


def checks(tools):
    parts = Parts(tools.built / "tintfall", tools.folder / "finished-parts")
    errors, rights = [], []
    for seed, kind in ((1, KINDS[1]), (4, KINDS[4])):
        bad, jpeg, truth, taken = parts.taken(seed, kind)
        said, seen = parts.read(str(seed), jpeg, taken[0])
        if seen is None:
            print(f"       {kind}: {said}")
            rights.append(False)
            continue
        off = parts.errors(seen, truth)
        right, told = named(bad, parts.traced(str(seed)))
        print(f"       {kind}: ΔE00 {off.mean():.2f}, worst {off.max():.2f}; first cause: {told}")
        errors.append(off)
        rights.append(right)
        if seed == 1:
            yield from poses(tools, parts, "1", taken)
    pooled = np.concatenate(errors)
    yield Check("mean error of finished parts' colours, ΔE00", SOURCE, pooled.mean(), 2.0, len(pooled))
    yield Check("finished parts whose first cause is wrong", SOURCE, len(rights) - sum(rights), 0, len(rights))
    # Looked at so high that the part is cut by the frame.
    bad, jpeg, _, taken = parts.taken(3, KINDS[0], look_at=(90.0, 190.0, 0.0))
    said, seen = parts.read("cut", jpeg, taken[0])
    print(f"       a part cut by the frame: {said.splitlines()[0] if said else 'read'}")
    yield Check("parts cut by the frame that are read", SOURCE, 0 if seen is None else 1, 0, 1)


def main():
    asked = argparse.ArgumentParser()
    asked.add_argument("tintfall", type=Path)
    asked.add_argument("--count", type=int, default=30)
    asked.add_argument("--first", type=int, default=0)
    asked.add_argument("--keep", type=Path, help="keep what was read in this folder")
    args = asked.parse_args()
    place = contextlib.nullcontext(args.keep) if args.keep else tempfile.TemporaryDirectory()
    with place as folder, ProcessPoolExecutor(os.cpu_count()) as pool:
        parts = Parts(args.tintfall.resolve(), folder)
        errors, rights, refused = [], [], 0
        seeds = range(args.first, args.first + args.count)
        runs = [pool.submit(studied, parts, seed, KINDS[seed % len(KINDS)]) for seed in seeds]
        for seed, run in zip(seeds, runs):
            kind, told, off, right = run.result()
            if off is None:
                refused += 1
                print(f"{seed:3} {kind:28} {told}", flush=True)
                continue
            errors.append(off)
            rights.append(right)
            print(f"{seed:3} {kind:28} ΔE00 mean {off.mean():.2f}, 95 % {np.quantile(off, 0.95):.2f}, "
                  f"worst {off.max():.2f}; {len(off)} heights; {'right' if right else 'WRONG'}: {told}", flush=True)
        pooled = np.concatenate(errors)
        print(f"read {len(errors)}, refused {refused}; ΔE00 mean {pooled.mean():.2f}, 95 % within "
              f"{np.quantile(pooled, 0.95):.2f}, worst {pooled.max():.2f}; first cause right {sum(rights)} of {len(rights)}")


if __name__ == "__main__":
    sys.exit(main())
