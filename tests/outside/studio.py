"""A photographer's studio that shares nothing with Tintfall: a card, a print and references under lamps, seen by a camera.

Light, sensor and surfaces are spectra, every 5 nm. A pinhole camera with radial distortion looks
at the card's own drawing (read from its SVG) and at the print's mesh (read by trimesh), ray by
ray. The lamps fall off across the table; the lens darkens towards its corners; the print throws
shadows and its sides are shaded. Then the camera does what cameras do: noise, white balance, a
matrix for usual colours, a tone curve, eight bits, JPEG by Pillow.

The sensor's sensitivities, the lamps' places and the tone curve are invented, and so are paper and ink.
"""

import io
import re
from dataclasses import dataclass, field

import colour
import numpy as np
import trimesh
from PIL import Image
from scipy import ndimage

import plastics
from plastics import NM, SHAPE

# What a mm of the card's drawing is cut into.
FINE = 10
PAPER = 0.86 - 0.10 * np.exp(-(NM - 380) / 25)
INK = np.full_like(NM, 0.045)
TABLE = 0.16 + 0.12 / (1 + np.exp((560 - NM) / 40))
SENSOR = np.array([np.exp(-0.5 * ((NM - centre) / width) ** 2) for centre, width in
                   [(598, 36), (540, 40), (452, 27)]])
SRGB = colour.RGB_COLOURSPACES["sRGB"].matrix_XYZ_to_RGB


@dataclass
class Shot:
    """How one picture is taken."""

    seed: int = 0
    size: tuple = (1500, 2000)
    light: str = "D55"
    tilt_deg: tuple = (0.0, 0.0)
    turn_deg: float = 0.0
    distance_mm: float = 320.0
    focal: float = 0.74
    k1: float = 0.0
    gradient: float = 0.4
    gradient_deg: float = 30.0
    vignetting: float = 0.3
    curve: float = 0.25
    exposure: float = 0.75
    noise: float = 0.006
    quality: int = 70
    # Where the print lies: off its place in mm, and turned.
    off_mm: tuple = (0.0, 0.0)
    off_deg: float = 0.0
    print_scale: float = 1.0
    # Place, reflectance.
    references: tuple = ((0, 0.9), (1, 0.18), (2, 0.04))
    blur_px: float = 0.6
    covered: tuple = ()
    flipped: bool = False
    empty: bool = False
    lean: tuple = field(default=(6.0, -4.0))


def drawing(svg):
    """How much ink each tenth of a mm of a card has, and the paper's size."""
    width, height = (float(v) for v in re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', svg).groups())
    ink = np.zeros((round(height * FINE), round(width * FINE)), np.float32)
    rects = re.findall(r'<rect x="([\d.]+)" y="([\d.]+)" width="([\d.]+)" height="([\d.]+)"/>', svg)
    for x, y, w, h in ((float(v) for v in rect) for rect in rects):
        rows, columns = covered(y, h, ink.shape[0]), covered(x, w, ink.shape[1])
        ink = np.maximum(ink, rows[:, None] * columns[None, :])
    return ink, (width, height)


def covered(start, length, count):
    edges = np.arange(count + 1) / FINE
    return (np.clip(edges[1:], start, start + length) - np.clip(edges[:-1], start, start + length)).astype(np.float32) * FINE


def rotation(tilt_deg, turn_deg):
    a, b, c = np.radians([*tilt_deg, turn_deg])
    x = np.array([[1, 0, 0], [0, np.cos(a), -np.sin(a)], [0, np.sin(a), np.cos(a)]])
    y = np.array([[np.cos(b), 0, np.sin(b)], [0, 1, 0], [-np.sin(b), 0, np.cos(b)]])
    z = np.array([[np.cos(c), -np.sin(c), 0], [np.sin(c), np.cos(c), 0], [0, 0, 1]])
    return z @ y @ x


class Camera:
    """Looks down on the paper, whose z points away from it; x is right, y down."""

    def __init__(self, shot, middle):
        self.size = shot.size
        self.focal = shot.focal * max(shot.size)
        self.k1 = shot.k1
        self.turn = rotation(shot.tilt_deg, shot.turn_deg)
        self.shift = np.array([*shot.lean, shot.distance_mm]) - self.turn @ np.array([*middle, 0.0])
        self.eye = -self.turn.T @ self.shift

    def project(self, points):
        seen = points @ self.turn.T + self.shift
        u = seen[:, :2] / seen[:, 2:]
        u = u * (1 + self.k1 * (u * u).sum(axis=1, keepdims=True))
        return u * self.focal + np.array(self.size) / 2

    def rays(self, xs, ys):
        """Directions through places in px."""
        bent = np.stack([(xs - self.size[0] / 2) / self.focal, (ys - self.size[1] / 2) / self.focal], -1)
        u = bent.copy()
        for _ in range(6):
            u = bent / (1 + self.k1 * (u * u).sum(axis=-1, keepdims=True))
        return np.concatenate([u, np.ones_like(u[..., :1])], -1) @ self.turn


def laid(mesh, shot, corner, middle_x=90.0, foot_y=228.0):
    """A print on its back on the card: its points on the paper, z up towards the camera being negative."""
    points = np.array(mesh.vertices, float)
    x, y, z = points.T
    if shot.flipped:
        x, z = -x, z.max() - z
    # It rests on the deepest points of its lower and its upper half.
    low, high = z <= z.max() / 2, z > z.max() / 2
    best = None
    for i in np.flatnonzero(low):
        slopes = (y[high] - y[i]) / (z[high] - z[i])
        depths = y[i] + slopes * (z.max() / 2 - z[i])
        j = np.argmax(depths)
        if best is None or depths[j] > best[0]:
            best = (depths[j], slopes[j], y[i] - slopes[j] * z[i])
    _, slope, offset = best
    a = np.arctan(slope)
    along = z * np.cos(a) + y * np.sin(a)
    up = offset * np.cos(a) - (y * np.cos(a) - z * np.sin(a))
    t = np.radians(shot.off_deg)
    # Turned about its middle.
    half = along.max() / 2
    across, along = x * np.cos(t) - (along - half) * np.sin(t), x * np.sin(t) + (along - half) * np.cos(t) + half
    px = middle_x * shot.print_scale + shot.off_mm[0] + across
    py = foot_y * shot.print_scale + shot.off_mm[1] - along
    return np.stack([px + corner[0], py + corner[1], -up], 1), z


def photograph(shot, svg, mesh, spectrum_at):
    """The picture's JPEG, its camera, and where the card's field begins on the table."""
    draw = np.random.default_rng(shot.seed)
    ink, (paper_w, paper_h) = drawing(svg)
    scale = shot.print_scale
    corner = np.array([(paper_w - 180) / 2, (paper_h - 250) / 2]) * scale
    camera = Camera(shot, (paper_w * scale / 2, paper_h * scale / 2))
    width, height = shot.size
    # One ray for a pixel; the lens's blur follows.
    xs, ys = np.meshgrid(np.arange(width) + 0.5, np.arange(height) + 0.5)
    rays = camera.rays(xs, ys)
    t = -camera.eye[2] / rays[..., 2]
    ground = camera.eye[:2] + t[..., None] * rays[..., :2]

    source = colour.SDS_ILLUMINANTS[shot.light].copy().align(SHAPE).values
    to_srgb = matrix(source)
    see = lambda reflectance: np.atleast_2d(reflectance) @ (SENSOR * source).T / (SENSOR * source).sum(axis=1)

    picture = np.empty((height, width, 3), np.float32)
    picture[:] = see(TABLE)[0]
    page = ground / scale
    on_page = (page[..., 0] >= 0) & (page[..., 0] < paper_w) & (page[..., 1] >= 0) & (page[..., 1] < paper_h)
    cover = ndimage.map_coordinates(ink, [page[..., 1] * FINE - 0.5, page[..., 0] * FINE - 0.5], order=1, mode="nearest")
    blank = see(PAPER)[0] + cover[..., None] * (see(INK)[0] - see(PAPER)[0])
    picture[on_page] = blank[on_page]
    for place, reflectance in shot.references:
        x, y = [(28, 40), (28, 111), (28, 182)][place]
        here = ground - corner
        inside = (here[..., 0] > (x - 1) * scale) & (here[..., 0] < (x + 29) * scale) & \
                 (here[..., 1] > (y - 1) * scale) & (here[..., 1] < (y + 29) * scale)
        picture[inside] = reflectance
    for x, y, w, h in shot.covered:
        here = (ground - corner) / scale
        inside = (here[..., 0] > x) & (here[..., 0] < x + w) & (here[..., 1] > y) & (here[..., 1] < y + h)
        picture[inside] = see(TABLE)[0]

    lamp_deg = np.radians(shot.gradient_deg)
    toward = np.array([np.cos(lamp_deg), np.sin(lamp_deg)])
    reach = 125 * scale
    middle = np.array([paper_w, paper_h]) * scale / 2
    slope = lambda at: 1 - shot.gradient / 2 * (1 - ((at - middle) @ toward) / reach)
    light = slope(ground).astype(np.float32)

    if not shot.empty:
        points, heights = laid(mesh, shot, corner)
        light *= 1 - shadow(points, np.array(mesh.faces), (paper_w * scale, paper_h * scale), ground)
        draw_mesh(picture, light, camera, rays, points, heights, np.array(mesh.faces), see, spectrum_at, slope)

    far = ((xs / width - 0.5) ** 2 + (ys / height - 0.5) ** 2) / 0.5
    light *= 1 - shot.vignetting * far
    picture *= light[..., None]
    picture = ndimage.gaussian_filter(picture, (shot.blur_px, shot.blur_px, 0))
    # Exposed for the paper.
    brightest = np.quantile(picture[..., 1], 0.99)
    picture *= shot.exposure / brightest
    picture += draw.normal(size=picture.shape) * shot.noise * np.sqrt(picture.clip(0) + 0.01)
    linear = picture @ to_srgb.T
    codes = tone(linear, shot.curve)
    image = Image.fromarray((codes * 255).round().astype(np.uint8))
    out = io.BytesIO()
    image.save(out, "JPEG", quality=shot.quality, subsampling=2)
    return out.getvalue(), camera, corner


def matrix(source):
    """The camera's own matrix: the best for reflectances of many shapes, white kept white."""
    draw = np.random.default_rng(99)
    train = []
    for _ in range(300):
        lo, hi = np.sort(draw.uniform(0.03, 0.9, 2))
        middle, width = draw.uniform(420, 680), draw.uniform(20, 80)
        kind = draw.integers(3)
        step = 1 / (1 + np.exp((NM - middle) / (width / 2)))
        shape = [step, 1 - step, np.exp(-0.5 * ((NM - middle) / width) ** 2)][kind]
        train.append(lo + (hi - lo) * shape)
    train = np.array(train)
    day = colour.SDS_ILLUMINANTS["D65"].copy().align(SHAPE).values
    weights = plastics.CMFS.values * day[:, None]
    xyz = train @ (weights / weights[:, 1].sum())
    target = xyz / (weights.sum(axis=0) / weights[:, 1].sum()) * [0.9505, 1.0, 1.0890] @ SRGB.T
    seen = train @ (SENSOR * source).T / (SENSOR * source).sum(axis=1)
    # Rows add up to one, so that greys stay grey.
    rows = []
    for channel in range(3):
        a = seen[:, 1:] - seen[:, :1]
        b = target[:, channel] - seen[:, 0]
        weight = 1 / (target[:, channel].clip(0) + 0.1) ** 0.67
        rest = np.linalg.lstsq(a * weight[:, None], b * weight, rcond=None)[0]
        rows.append([1 - rest.sum(), *rest])
    return np.array(rows)


def tone(linear, strength):
    """sRGB's codes, then an S-shaped curve: steeper in the middle, softer at both ends."""
    linear = linear.clip(0, 1)
    codes = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    smooth = codes * codes * (3 - 2 * codes)
    return (1 - strength) * codes + strength * smooth


def shadow(points, faces, size, ground):
    """How much of the light the print takes from each place of the table: two lamps, from both sides."""
    w, h = (int(v) + 1 for v in size)
    total = np.zeros((h, w), np.float32)
    grid_y, grid_x = np.mgrid[0:h, 0:w] + 0.5
    top = -points[:, 2].min()
    x0, x1 = np.quantile(points[:, 0], [0.02, 0.98])
    y0, y1 = points[:, 1].min(), points[:, 1].max()
    for side in (-1, 1):
        reach = 0.9 * top * side
        lo, hi = min(x0, x0 + reach), max(x1, x1 + reach)
        total += 0.3 * ((grid_x > lo) & (grid_x < hi) & (grid_y > y0) & (grid_y < y1))
    total = ndimage.gaussian_filter(total, 2.0)
    return ndimage.map_coordinates(total, [ground[..., 1] - 0.5, ground[..., 0] - 0.5], order=1, mode="constant")


def draw_mesh(picture, light, camera, rays, points, heights, faces, see, spectrum_at, slope):
    table = np.arange(0, heights.max() + 0.2, 0.1)
    looks = np.array([see(spectrum_at(z))[0] for z in table])
    seen = camera.project(points)
    depth = np.full(picture.shape[:2], np.inf, np.float32)
    for face in faces:
        a, b, c = points[face]
        normal = np.cross(b - a, c - a)
        normal = normal / max(np.linalg.norm(normal), 1e-12)
        if normal @ (camera.eye - a) <= 0:
            normal = -normal
        low = np.floor(seen[face].min(axis=0) - 2).astype(int).clip(0)
        high = np.ceil(seen[face].max(axis=0) + 2).astype(int)
        window = (slice(low[1], high[1]), slice(low[0], high[0]))
        d = rays[window]
        if d.size == 0:
            continue
        e1, e2 = b - a, c - a
        p = np.cross(d, e2)
        det = p @ e1
        with np.errstate(divide="ignore", invalid="ignore"):
            s = camera.eye - a
            u = p @ s / det
            q = np.cross(s, e1)
            v = d @ q / det
            t = e2 @ q / det
        hit = (u >= -1e-9) & (v >= -1e-9) & (u + v <= 1 + 1e-9) & (t > 0) & (t < depth[window])
        if not hit.any():
            continue
        depth[window][hit] = t[hit]
        za, zb, zc = heights[face]
        z = (za + u * (zb - za) + v * (zc - za))[hit]
        at = (camera.eye + t[..., None] * d)[hit]
        # Up is towards the camera's side of the table.
        shade = 0.25 + 0.75 * max(-normal[2], 0.0)
        picture[window][hit] = looks[np.clip((z / 0.1).round().astype(int), 0, len(looks) - 1)]
        light[window][hit] = slope(at[:, :2]) * shade


def turned_jpeg(jpeg):
    """The same picture stored on its side, with the Exif tag that says so."""
    image = Image.open(io.BytesIO(jpeg)).transpose(Image.Transpose.ROTATE_90)
    exif = image.getexif()
    exif[274] = 6
    out = io.BytesIO()
    image.save(out, "JPEG", quality=92, exif=exif)
    return out.getvalue()
