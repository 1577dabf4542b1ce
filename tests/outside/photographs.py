"""Photographs of test prints on the card, rendered by a studio of its own: are they read right, or refused?

Run by itself with the path of the built `tintfall` and a number, it takes so many pictures and
tells the errors, beside those of the same colours through the camera alone: the study behind the
figures of docs/photographs.md. Pictures that lie in the folder of a third word already are read again.
"""

import functools
import re
import subprocess
import sys
from pathlib import Path

import cv2
import numpy as np
import trimesh

import fits
import plastics
import studio
from studio import Shot
from tools import Check

SOURCE = "spectra through a camera of studio.py; CIEDE2000 by colour-science"
# Plastics whose blends are within sRGB: what is not is refused.
PAIRS = [("white", "blue"), ("turquoise", "orange"), ("bone", "red"), ("white", "violet"), ("bone", "turquoise")]
LIGHTS = ["D50", "D55", "D65", "D75"]
# A fifth of what a phone has.
SIZE = (1200, 1600)
# What is stated of readings with three references, ΔE00.
STATED = 1.2
# The blend before is gone by 1 - 1/e within so many mm.
SETTLES_MM = 0.8


def settling(alone, starts):
    """The spectrum by height, where the blend before is flushed out little by little."""
    def at(z):
        step = max(i for i, start in enumerate(starts) if z >= start - 1e-9)
        before = alone[max(step - 1, 0)]
        return alone[step] + (before - alone[step]) * np.exp(-(z - starts[step]) / SETTLES_MM)
    return at


class Print:
    """A card and a swatch bar as Tintfall writes them."""

    def __init__(self, program, folder, names=("white", "blue")):
        self.program, self.folder = program, Path(folder)
        self.folder.mkdir(exist_ok=True)
        (self.folder / "spools.ron").write_text(fits.spools_file(names, plastics.mixed(names, np.eye(2), "stirred")))
        self.run("card", "--out", self.folder / "card.svg")
        self.run("swatch", self.folder / "spools.ron", "--out", self.folder / "bar")
        self.run("lag-test", self.folder / "spools.ron", "--out", self.folder / "lag")
        self.card = (self.folder / "card.svg").read_text()
        self.mesh = trimesh.load(self.folder / "bar" / "swatch.stl")
        self.plan = self.folder / "bar" / "swatch.plan.ron"
        rows = [line.split(",") for line in (self.folder / "bar" / "measured.csv").read_text().splitlines()]
        self.shares = np.array([[float(v) for v in row[1:3]] for row in rows if row[0].isdigit()])
        text = self.plan.read_text()
        self.starts = [0.0] + [float(part.split(",")[0]) for part in text.split("from_mm:")[1:]]

    def run(self, *words):
        done = subprocess.run([self.program, *map(str, words)], capture_output=True, text=True)
        return done

    def spectra(self, names, way):
        alone = np.array([plastics.reflectance(names, shares, way) for shares in self.shares])

        return alone, settling(alone, self.starts)

    def read(self, name, jpeg, shot, plan=None, words=()):
        """What the command says, and the colours where it gives some."""
        (self.folder / name).write_bytes(jpeg)
        out = self.folder / f"{name}.csv"
        out.unlink(missing_ok=True)
        neutrals = [word for place, share in shot.references for word in ("--neutral", f"{'ABC'[place]}={share}")]
        done = self.run("read-photo", self.folder / name, "--plan", plan or self.plan, *neutrals, *words, "--out", out)
        if done.returncode:
            return done.stderr.strip(), None
        rows = [line.split(",") for line in out.read_text().splitlines()]
        if rows[0][0] == "height_mm":
            return done.stderr.strip(), np.array([[float(v) for v in row] for row in rows[1:]])
        return done.stderr.strip(), np.array([[float(v) for v in row[3:6]] for row in rows if row[0].isdigit()])


def any_shot(seed, size):
    """A picture as people take them: askew, from here and there, in uneven light."""
    draw = np.random.default_rng(seed)
    side = lambda most: draw.uniform(-most, most)
    return Shot(
        seed=seed, size=size, light=LIGHTS[seed % len(LIGHTS)],
        tilt_deg=(side(12), side(12)), turn_deg=side(15),
        distance_mm=draw.uniform(320, 370), focal=draw.uniform(0.70, 0.78), k1=side(0.06),
        gradient=0.4, gradient_deg=draw.uniform(0, 360), vignetting=draw.uniform(0.1, 0.35),
        curve=draw.uniform(0.0, 0.35), exposure=draw.uniform(0.55, 0.85), noise=draw.uniform(0.003, 0.009),
        off_mm=(side(4), side(4)), off_deg=side(1.5), print_scale=draw.choice([1.0, 1.0, 0.97]),
        blur_px=draw.uniform(0.4, 1.1), lean=(side(12), side(12)),
    )


@functools.cache
def sensor(light):
    """What turns reflectances into a camera's linear light of sRGB."""
    source = plastics.colour.SDS_ILLUMINANTS[light].copy().align(plastics.SHAPE).values
    seen = studio.SENSOR * source
    return (seen / seen.sum(axis=1, keepdims=True)).T @ studio.matrix(source).T


def by_camera_alone(alone, light):
    """CIELAB of reflectances by the camera's sensor and matrix, without card, picture and reading."""
    xyz = (alone @ sensor(light)).clip(0) @ np.linalg.inv(studio.SRGB).T
    return plastics.colour.XYZ_to_Lab(xyz, plastics.WHITE)


def taken(bar, seed, size):
    names, way = PAIRS[seed % len(PAIRS)], plastics.WAYS[seed % 3]
    shot = any_shot(seed, size)
    alone, at = bar.spectra(names, way)
    kept = bar.folder / f"{seed}.jpg"
    if kept.exists():
        jpeg = kept.read_bytes()
    else:
        jpeg, camera, corner = studio.photograph(shot, bar.card, bar.mesh, at)
        bar.project = lambda places: camera.project(np.hstack([places * shot.print_scale + corner, np.zeros((len(places), 1))]))
        if seed % 4 == 1:
            jpeg = studio.turned_jpeg(jpeg)
    said, labs = bar.read(f"{seed}.jpg", jpeg, shot)
    truth = plastics.lab(alone)
    camera_off = plastics.difference(by_camera_alone(alone, shot.light), truth)
    return names, said, None if labs is None else plastics.difference(labs, truth), camera_off


def checks(tools):
    bar = Print(tools.built / "tintfall", tools.folder / "photographs")
    errors, refused = [], 0
    # The last one's camera is asked where it has the marks.
    for seed in (1, 2, 0):
        names, said, off, _ = taken(bar, seed, SIZE)
        print(f"       {' and '.join(names)}: " + (f"ΔE00 {off.mean():.2f}, worst {off.max():.2f}" if off is not None else said))
        refused += off is None
        errors += [] if off is None else [off]
    all_errors = np.concatenate(errors)
    yield Check("photographs refused", SOURCE, refused, 0, 3)
    yield Check("mean reading error, ΔE00", SOURCE, all_errors.mean(), 1.0, len(all_errors))
    yield Check("worst reading error, ΔE00", SOURCE, all_errors.max(), 2.5, len(all_errors))
    yield from marks(tools, bar, bar.folder / "0.jpg")
    yield from refusals(bar)
    yield from towers(bar)


def marks(tools, bar, photo):
    """Marks, corners and homography against OpenCV."""
    source = "OpenCV, its dictionary of the original family, detector and findHomography"
    done = subprocess.run([tools.built / "examples" / "card_probe", photo], check=True, capture_output=True, text=True)
    told = [line.split() for line in done.stdout.splitlines()]
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_ARUCO_ORIGINAL)
    wrong, count = 0, 0
    for _, number, bits in (words for words in told if words[0] == "bits"):
        number = int(number)
        theirs = cv2.aruco.Dictionary.getBitsFromByteList(family.bytesList[number:number + 1], 5)
        wrong += int("".join(str(bit) for bit in theirs.ravel()), 2) != int(bits)
        count += 1
    yield Check("marks whose cells are not the family's", source, wrong, 0, count)

    corners = np.array([[float(v) for v in words[1:]] for words in told if words[0] == "corner"])
    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    detector = cv2.aruco.ArucoDetector(family, parameters)
    found, numbers, _ = detector.detectMarkers(cv2.imread(str(photo), cv2.IMREAD_GRAYSCALE))
    apart = []
    for theirs, number in zip(found, numbers.ravel()):
        ours = corners[corners[:, 0] == number][:, 3:5]
        if len(ours):
            # Their pixels' middles are whole numbers; ours end in a half.
            apart += list(np.linalg.norm(theirs[0] + 0.5 - ours, axis=1))
    # Theirs scatter by half a pixel about where the camera has them.
    yield Check("corners of marks found by both, middle one, px", source, np.median(apart), 1.0, len(apart))
    off = np.linalg.norm(bar.project(corners[:, 1:3]) - corners[:, 3:5], axis=1)
    yield Check("corners of marks, px", "where the camera of studio.py has them", off.max(), 0.25, len(off))

    theirs, _ = cv2.findHomography(corners[:, 1:3], corners[:, 3:5])
    mapped = np.array([[float(v) for v in words[1:]] for words in told if words[0] == "mapped"])
    there = cv2.perspectiveTransform(mapped[None, :, :2], theirs)[0]
    off = np.linalg.norm(there - mapped[:, 2:], axis=1)
    yield Check("homography of the same corners, px", source, off.max(), 0.1, len(off))


def refusals(bar):
    """Pictures that can't be read right are refused, and say why."""
    spoiled = {
        "its foot at the other end": (dict(flipped=True), "foot"),
        "nothing on the lane": (dict(empty=True), "no sample"),
        "a blurred picture": (dict(blur_px=2.0), "blurred"),
        "an overexposed picture": (dict(exposure=1.6), "overexposed"),
        "a hidden card": (dict(covered=((-5, -5, 30, 260),)), "marks"),
        "a reference that is not there": (dict(references=((0, 0.9), (1, 0.18))), "reference on C"),
    }
    silent = []
    alone, at = bar.spectra(PAIRS[0], "stirred")
    for what, (change, word) in spoiled.items():
        shot = Shot(size=(900, 1200), **change)
        jpeg, *_ = studio.photograph(shot, bar.card, bar.mesh, at)
        shot.references = Shot().references
        said, labs = bar.read("spoiled.jpg", jpeg, shot)
        right = labs is None and word in said
        print(f"       {what}: {said.splitlines()[0] if said else 'read'}")
        silent.append(not right)
    yield Check("spoiled pictures not refused for what is wrong", SOURCE, sum(silent), 0, len(silent))


# A lag tower's side, mm.
SIDE = 10.0


def towers(bar):
    """Lag towers: by themselves, in frames set by hand, and in frames that are wrong."""
    mesh, plan = trimesh.load(bar.folder / "lag" / "lag-test.stl"), bar.folder / "lag" / "lag-test.plan.ron"
    text = plan.read_text()
    starts = [0.0] + [float(part.split(",")[0]) for part in text.split("from_mm:")[1:]]
    shares = [[float(v) for v in found.split(",")] for found in re.findall(r"Fixed\(\[([^\]]*)\]", text)]
    at = settling(np.array([plastics.reflectance(PAIRS[0], one, "stirred") for one in shares]), starts)
    top, half = mesh.bounds[1][2], SIDE / 2
    face = trimesh.Trimesh([*mesh.vertices, (-half, -half, top), (half, -half, top), (half, -half, 0), (-half, -half, 0)],
                           mesh.faces, process=False)
    errors, apart, wrong, count = [], [], 0, 0
    for seed in (4, 5, 6):
        shot, draw = any_shot(seed, SIZE), np.random.default_rng(seed)
        jpeg, camera, corner = studio.photograph(shot, bar.card, mesh, at)
        corners = camera.project(studio.laid(face, shot, corner)[0][-4:])
        px = np.linalg.norm(corners[0] - corners[3]) / top
        framed = lambda corners: ["--frame", *(f"{x:.0f},{y:.0f}" for x, y in corners)]
        read = lambda words: bar.read("tower.jpg", jpeg, shot, plan, words)
        said, alone = read([])
        # As a hand sets them: up to 1 mm off across and 2 along.
        said, seen = read(framed(corners + draw.uniform(-1, 1, corners.shape) * [px, 2 * px]))
        print(f"       a tower: {'found' if alone is not None else 'not found'} by itself; {said or 'read'}")
        assert seen is not None, said
        heights = seen[:, 0]
        # Where it changes a height's error is a colour's, and a mm is not of one colour.
        near = np.abs(heights[:, None] - np.array(starts)[None, 1:])
        steady = (near > 4).all(axis=1)
        truth = plastics.lab(np.array([at(height) for height in heights]))
        errors.append(plastics.difference(seen[:, 1:], truth)[steady])
        if alone is not None:
            apart.append(plastics.difference(seen[:, 1:], alone[:, 1:])[steady])
        spoiled = {"turned": corners[[2, 3, 0, 1]], "mirrored": corners[[1, 0, 3, 2]], "12 mm up": corners - [0, 12 * px],
                   "12 mm down": corners + [0, 12 * px], "8 mm aside": corners + [8 * px, 0]}
        for words in spoiled.values():
            wrong += read(framed(words))[1] is not None
            count += 1
    errors = np.concatenate(errors)
    yield Check("lag towers in frames where they are of one colour, mean ΔE00", SOURCE, errors.mean(), 1.5, len(errors))
    yield Check("towers in a frame and without, where they are of one colour, mean ΔE00", "Tintfall without a frame",
                np.concatenate(apart).mean(), 0.5, len(apart))
    yield Check("wrong frames about towers that are read", "by hand", wrong, 0, count)


def main(program, count):
    bar = Print(program, "/tmp/photographs-study" if len(sys.argv) < 4 else sys.argv[3])
    rows, refused = [], []
    for seed in range(count):
        names, said, off, camera = taken(bar, seed, SIZE)
        light = any_shot(seed, SIZE).light
        head = f"{seed:3} {' and '.join(names):22} {light}"
        if off is None:
            refused.append(seed)
            print(f"{head} {said}", flush=True)
        else:
            rows.append((light, off, camera))
            print(f"{head} mean {off.mean():.2f} worst {off.max():.2f}; by the camera alone {camera.mean():.2f}, "
                  f"{camera.max():.2f} {said}", flush=True)
    print("\n| Daylight | Pictures | Mean ΔE00 | 95 % within | Worst step | Camera alone: mean | worst |")
    print("|---|---|---|---|---|---|---|")
    for light in [*LIGHTS, "all"]:
        here = [row for row in rows if light in (row[0], "all")]
        off, camera = (np.concatenate([row[i] for row in here]) for i in (1, 2))
        print(f"| {light} | {len(here)} | {off.mean():.2f} | {np.quantile(off, 0.95):.1f} | {off.max():.1f} | "
              f"{camera.mean():.2f} | {camera.max():.1f} |")
    off = np.concatenate([row[1] for row in rows])
    within = ", ".join(f"{np.mean(off <= times * STATED):.1%}" for times in (1, 2, 3))
    over = [sum(row[i].max() > 2.5 for row in rows) for i in (1, 2)]
    print(f"\nread {len(rows)} of {count}; refused: {refused}; pictures with a step beyond 2.5: {over[0]}, by the camera alone "
          f"{over[1]}; within one, two and three of ± {STATED}: {within}")


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]))
