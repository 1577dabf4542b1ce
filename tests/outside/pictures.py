"""Pictures on a part, against closed forms, Pillow, NumPy, scikit-learn and colour-science.

Pillow draws and codes the pictures, trimesh makes the parts. Areas are those of `prepare`, which
cuts the skin along the pictures' edges down to half a nozzle. The blends of `lay --colours` stand
beside k-means clusters taken to their nearest blends.
"""

import colour
import numpy as np
import trimesh
from PIL import Image

from coloured_models import k_means, mean, reached
from tools import Check

PLAN = """(
    version: 1, mesh: (file: "part.stl", place: (stand: AsDrawn)),
    spools: [(name: "One", colour: Hex("#204080")), (name: "Two", colour: Hex("#f0f0e0"))],
    machine: (nozzle_mm: 0.2), layers: (first_layer_mm: 1.0, layer_mm: 1.0),
    regions: [
        (name: "Body", mask: Whole, paint: Fixed([0, 1])),
        (name: "Shown", mask: %s, paint: Fixed([1, 0])),
    ],
)
"""


def checks(tools):
    yield from on_a_plane(tools)
    yield from round_a_cylinder(tools)
    yield from from_a_drawing(tools)
    yield from in_stripes(tools)
    yield from palettes(tools)


def shown_mm2(tools, name, mesh, picture, mask, suffix="png", **options):
    """The visible area of what a plan shows of a picture on a part, mm²."""
    folder = tools.folder / f"picture-{name}"
    folder.mkdir()
    mesh.export(folder / "part.stl")
    picture.save(folder / f"picture.{suffix}", **options)
    (folder / "part.plan.ron").write_text(PLAN % mask)
    made = tools.tintfall("prepare", folder / "part.plan.ron", "--out", folder / "out")
    regions = made["totals"]["regions"]
    return next(region["area_mm2"] for region in regions if region["name"] == "Shown")


def disk(side, radius, times=8):
    """A black disk on white, its edge grey: drawn larger and averaged."""
    place = (np.arange(side * times) + 0.5) / times - side / 2
    ink = np.hypot(place[:, None], place[None, :]) < radius
    share = ink.reshape(side, times, side, times).mean(axis=(1, 3))
    return Image.fromarray(np.round(255 * (1 - share)).astype(np.uint8))


def on_a_plane(tools):
    """A disk of radius 15 mm projected on the front of a block, coarse and fine, PNG and JPEG."""
    block = trimesh.creation.box((40, 10, 40))
    block.apply_translation((0, 0, 20))
    fine = block.subdivide_to_size(3.0)
    mask = ('Picture(file: "picture.%s", width_mm: 40, '
            'laid: Projected(at_mm: (0, -5, 20), along: (0, 1, 0), depth_mm: 2))')
    wanted = np.pi * 15**2
    picture = disk(400, 150)
    coarse = shown_mm2(tools, "coarse", block, picture, mask % "png")
    yield Check("disk on a plane: area", "π r²", abs(coarse / wanted - 1), 1e-3, 1)
    finer = shown_mm2(tools, "fine", fine, picture, mask % "png")
    yield Check("disk on a fine mesh: area", "π r²", abs(finer / wanted - 1), 1e-3, 1)
    jpeg = shown_mm2(tools, "jpeg", block, picture, mask % "jpg", "jpg", quality=92, progressive=True)
    yield Check("disk from a JPEG: area", "π r², written by Pillow", abs(jpeg / wanted - 1), 1e-3, 1)
    turned = Image.Exif()
    turned[274] = 6
    half = Image.new("L", (200, 100), 255)
    half.paste(0, (0, 0, 48, 100))
    # Turned clockwise, the left is the upper side; 20 mm wide, the dark is 9.6 mm of 40 high.
    upper = (mask % "jpg").replace("width_mm: 40", "width_mm: 20").replace("(0, -5, 20)", "(0, -5, 18)")
    # Were it not turned, it would be 10 mm high, and the dark 4.8 mm wide.
    seen = shown_mm2(tools, "turned", block, half, upper, "jpg", quality=92, exif=turned)
    yield Check("JPEG turned by Exif: area", "CIPA DC-008", abs(seen / 192 - 1), 1e-3, 1)


class Drawing:
    """An SVG, written as Pillow writes a picture."""

    def __init__(self, inner):
        self.text = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 40 20">{inner}</svg>'

    def save(self, file):
        file.write_text(self.text)


def from_a_drawing(tools):
    """A disk, and a star by the even-odd rule, drawn as SVG 40 mm wide on the front of a block."""
    block = trimesh.creation.box((50, 10, 40))
    block.apply_translation((0, 0, 20))
    mask = ('Picture(file: "picture.svg", width_mm: 40, '
            'laid: Projected(at_mm: (0, -5, 20), along: (0, 1, 0), depth_mm: 2))')
    disk = Drawing('<circle cx="20" cy="10" r="8"/>')
    area = shown_mm2(tools, "svg-disk", block, disk, mask, "svg")
    yield Check("disk from an SVG: area", "π r²", abs(area / (np.pi * 64) - 1), 1e-3, 1)
    # A square with a square hole: SVG 1.1, 11.3, fill-rule.
    holed = Drawing('<path fill-rule="evenodd" d="M4 2h16v16h-16z M8 6h8v8h-8z"/>')
    area = shown_mm2(tools, "svg-hole", block, holed, mask, "svg")
    yield Check("square with a hole from an SVG: area", "16² - 8²", abs(area / 192 - 1), 1e-3, 1)


def round_a_cylinder(tools):
    """A square of 30 mm wrapped on a cylinder of 20 mm. Of a prism of n sides, sides are shorter than arcs."""
    sides = 512
    cylinder = trimesh.creation.cylinder(20, 50, sections=sides)
    cylinder.apply_translation((0, 0, 25))
    mask = ('Picture(file: "picture.png", width_mm: 30, covers: Frame, '
            'laid: Wrapped(at_mm: (0, -20, 25), depth_mm: 1))')
    area = shown_mm2(tools, "wrapped", cylinder, Image.new("L", (64, 64), 0), mask)
    yield Check("square round a cylinder: area", "30²", abs(area / 900 - 1), 1e-3, 1)


LAID = """(
    version: 1, mesh: (file: "part.stl", place: (stand: AsDrawn)),
    spools: [%s],
    machine: (nozzle_mm: 0.2), layers: (first_layer_mm: 1.0, layer_mm: 1.0),
    regions: [(name: "Body", mask: Whole, paint: Fixed([%s]))],
)
"""


def with_picture(tools, name, codes, picture, suffix="png", **options):
    """A folder with a block, a plan of some spools, and a picture."""
    folder = tools.folder / f"laid-{name}"
    folder.mkdir()
    block = trimesh.creation.box((50, 10, 40))
    block.apply_translation((0, 0, 20))
    block.export(folder / "part.stl")
    spools = ", ".join(f'(name: "{number}", colour: Hex("{code}"))' for number, code in enumerate(codes))
    shares = ", ".join("1" if number == 0 else "0" for number in range(len(codes)))
    (folder / "part.plan.ron").write_text(LAID % (spools, shares))
    picture.save(folder / f"picture.{suffix}", **options)
    return folder


def laid(tools, folder, number, suffix="png"):
    """Lays the picture's colours on the front, 30 mm wide, in so many blends."""
    return tools.tintfall("lay", folder / "part.plan.ron", folder / f"picture.{suffix}", "--colours", number,
                          "--width", 30, "--at=0,-5,20", "--along=0,1,0", "--depth", 2)


def in_stripes(tools):
    """Upright stripes of the spools' own colours, some slanted, with clear beside them: their areas as prepared."""
    codes = ["#c03028", "#f2efe6", "#20407c"]
    rgb = np.array([[int(code[i:i + 2], 16) for i in (1, 3, 5)] for code in codes])
    for name, slope in [("upright", 0.0), ("slanted", 0.25)]:
        times, side = 8, 400
        x = (np.arange(side * times) + 0.5) / times
        across = x[None, :] + slope * (x[:, None] - side / 2)
        # Clear, then 100, 60 and 90 pixels of the three.
        which = np.digitize(across, [90, 190, 250, 340]) - 1
        shown = (which >= 0) & (which < 3)
        large = np.zeros((side * times, side * times, 4))
        large[shown] = np.column_stack([rgb, np.full(3, 255)])[which[shown]]
        small = large.reshape(side, times, side, times, 4).mean(axis=(1, 3))
        # Opacity is averaged, and colours where there is any.
        clear = small[..., 3:] / 255
        small[..., :3] = np.divide(small[..., :3], clear, out=np.zeros_like(small[..., :3]), where=clear > 0)
        picture = Image.fromarray(small.round().astype(np.uint8))
        folder = with_picture(tools, name, codes, picture)
        made = laid(tools, folder, 3)
        assert made["blends"] == 3, made
        prepared = tools.tintfall("prepare", folder / "part.plan.ron", "--out", folder / "out")
        areas = {region["name"]: region["area_mm2"] for region in prepared["totals"]["regions"]}
        off = 0.0
        for region in made["regions"]:
            wide = [100, 60, 90][int(np.argmax(region["shares"]))]
            off = max(off, abs(areas[region["name"]] / (30 / side * wide * 30) - 1))
        yield Check(f"{name} stripes of a picture's colours: areas", "closed form", off, 5e-3, 3)


def palettes(tools):
    """The mean difference of the blends chosen for a picture is no more than that of k-means."""
    random = np.random.default_rng(20261130)
    codes = ["#d03a2e", "#f2efe6", "#1f4f9a"]
    side = 48
    heads = random.integers(20, 236, (9, 3))
    places = random.uniform(0, side, (9, 2))
    y, x = np.mgrid[0:side, 0:side]
    near = np.exp(-np.hypot(x[..., None] - places[:, 0], y[..., None] - places[:, 1]) / 3)
    mix = near / near.sum(axis=2, keepdims=True) @ heads + random.normal(0, 6, (side, side, 3))
    rgb = mix.round().clip(0, 255).astype(np.uint8)
    folder = with_picture(tools, "palette", codes, Image.fromarray(rgb))
    lab = colour.XYZ_to_Lab(colour.sRGB_to_XYZ(rgb.reshape(-1, 3) / 255), colour.CCS_ILLUMINANTS[
        "CIE 1931 2 Degree Standard Observer"]["D65"])
    area = np.full(len(lab), 1 / len(lab))
    steps = 50
    shares = [[a / steps, b / steps, (steps - a - b) / steps]
              for a in range(steps + 1) for b in range(steps + 1 - a)]
    reach = reached(tools, codes, shares)
    miss = colour.delta_E(lab[:, None, :], reach[None, :, :], method="CIE 2000")
    worse, told, count = 0.0, 0.0, 0
    for blends in range(1, 7):
        plan = (folder / "part.plan.ron").read_text()
        made = laid(tools, folder, blends)
        (folder / "part.plan.ron").write_text(plan)
        if made["blends"] != blends:
            continue
        own = reached(tools, codes, [region["shares"] for region in made["regions"]])
        ours = mean(colour.delta_E(lab[:, None, :], own[None, :, :], method="CIE 2000"), area)
        row = next(row for row in made["rows"] if row["blends"] == blends)
        worse = max(worse, ours - k_means(lab, area, miss, reach, blends))
        told = max(told, abs(row["mean_de00"] - ours))
        count += 1
    yield Check("blends for a picture no worse than k-means", "scikit-learn KMeans, ΔE00 of colour-science",
                worse, 0.02, count)
    yield Check("mean difference for a picture as told", "ΔE00 of colour-science", told, 0.25, count)
