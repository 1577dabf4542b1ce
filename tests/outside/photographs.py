"""Photographs of test prints on the card, rendered by a studio of its own: are they read right, or refused?

Run by itself with the path of the built `tintfall` and a number, it takes so many pictures and
tells the errors: the study behind the figures of docs/photographs.md.
"""

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


def taken(bar, seed, size):
    names, way = PAIRS[seed % len(PAIRS)], plastics.WAYS[seed % 3]
    shot = any_shot(seed, size)
    alone, at = bar.spectra(names, way)
    jpeg, camera, corner = studio.photograph(shot, bar.card, bar.mesh, at)
    bar.project = lambda places: camera.project(np.hstack([places * shot.print_scale + corner, np.zeros((len(places), 1))]))
    if seed % 4 == 1:
        jpeg = studio.turned_jpeg(jpeg)
    said, labs = bar.read(f"{seed}.jpg", jpeg, shot)
    if labs is None:
        return names, said, None
    return names, said, np.array([plastics.difference(a, b) for a, b in zip(labs, plastics.lab(alone))])


def checks(tools):
    bar = Print(tools.built / "tintfall", tools.folder / "photographs")
    errors, refused = [], 0
    # The last one's camera is asked where it has the marks.
    for seed in (1, 2, 0):
        names, said, off = taken(bar, seed, SIZE)
        print(f"       {' and '.join(names)}: " + (f"ΔE00 {off.mean():.2f}, worst {off.max():.2f}" if off is not None else said))
        refused += off is None
        errors += [] if off is None else [off]
    all_errors = np.concatenate(errors)
    yield Check("photographs refused", SOURCE, refused, 0, 3)
    yield Check("mean reading error, ΔE00", SOURCE, all_errors.mean(), 1.0, len(all_errors))
    yield Check("worst reading error, ΔE00", SOURCE, all_errors.max(), 2.5, len(all_errors))
    yield from marks(tools, bar, bar.folder / "0.jpg")
    yield from refusals(bar)


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


def main(program, count):
    bar = Print(program, "/tmp/photographs-study" if len(sys.argv) < 4 else sys.argv[3])
    errors, refused = [], []
    for seed in range(count):
        names, said, off = taken(bar, seed, SIZE)
        if off is None:
            refused.append(seed)
            print(f"{seed:3} {' and '.join(names):22} {said}", flush=True)
        else:
            errors.append(off)
            print(f"{seed:3} {' and '.join(names):22} mean {off.mean():.2f} worst {off.max():.2f} {said}", flush=True)
    pooled = np.concatenate(errors)
    print(f"read {len(errors)} of {count}; mean {pooled.mean():.2f}, 95 % within {np.quantile(pooled, 0.95):.2f}, "
          f"worst {pooled.max():.2f}; refused: {refused}")


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]))
