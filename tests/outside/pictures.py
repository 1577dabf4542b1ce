"""Pictures on a part, against closed forms, Pillow and NumPy.

Pillow draws and codes the pictures, trimesh makes the parts. Areas are those of `prepare`, which
cuts the skin along the pictures' edges down to half a nozzle.
"""

import numpy as np
import trimesh
from PIL import Image

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
