"""Pictures with colour profiles of many kinds, and greyscale ones: their light against littlecms, through Pillow.

The profiles are written here by hand after ICC.1:2022: tables of 8 and 16 bits (lut8Type and
lut16Type) and of curves, table and matrix (lutAToBType), into CIELAB and CIE XYZ, and curves for
grey. The camera that they are of is invented: greys stay grey, and the rest is twisted. PNG files
are written here too, so that there are 16 bits and every chunk.
"""

import io
import struct
import subprocess
import zlib

import colour
import numpy as np
from PIL import Image, ImageCms

import photographs
import plastics
import studio
from tools import Check

LITTLE = "littlecms through Pillow, to 8 bits of CIELAB"
D50 = np.array([0.9642, 1.0, 0.8249])
# Invented primaries, wide; columns add up to the white.
PRIMARIES = np.array([[0.62, 0.22, 0.1242], [0.27, 0.71, 0.02], [0.01, 0.06, 0.7549]])


def png(pixels, depth, *chunks):
    """A PNG of whole numbers, rows × columns × channels."""
    height, width, channels = pixels.shape
    kind = {1: 0, 2: 4, 3: 2, 4: 6}[channels]
    code = pixels.astype(">u2" if depth == 16 else "u1")
    rows = b"".join(b"\0" + row.tobytes() for row in code)
    parts = [(b"IHDR", struct.pack(">IIBBBBB", width, height, depth, kind, 0, 0, 0)), *chunks,
             (b"IDAT", zlib.compress(rows)), (b"IEND", b"")]
    written = (struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))
               for name, body in parts)
    return b"\x89PNG\r\n\x1a\n" + b"".join(written)


def with_profile(profile):
    return b"iCCP", b"own\0\0" + zlib.compress(profile)


def fixed(values):
    return b"".join(struct.pack(">i", round(v * 65536)) for v in np.ravel(values))


def profile(space, connection, tags, version=2, kind=b"scnr"):
    """A profile's bytes."""
    tags = {b"wtpt": b"XYZ \0\0\0\0" + fixed(D50), b"desc": b"desc\0\0\0\0\0\0\0\x04own\0" + bytes(78),
            b"cprt": b"text\0\0\0\0none\0", **tags}
    table, body, at = struct.pack(">I", len(tags)), b"", 128 + 4 + 12 * len(tags)
    for name, data in tags.items():
        table += name + struct.pack(">II", at + len(body), len(data))
        body += data + bytes(-len(data) % 4)
    head = struct.pack(">I4sI4s4s4s12s4s", at + len(body), b"\0" * 4, version << 24, kind, space, connection,
                       bytes(12), b"acsp")
    head = head.ljust(64, b"\0") + struct.pack(">I", 1) + fixed(D50)
    return head.ljust(128, b"\0") + table + body


def camera(codes):
    """CIE XYZ of the invented camera's codes."""
    light = codes**1.8
    grey = light.mean(axis=-1, keepdims=True)
    # Colours grow paler where they are dark.
    light = grey + (light - grey) * (0.7 + 0.3 * grey)
    return light @ PRIMARIES.T


def lab(xyz):
    return colour.XYZ_to_Lab(xyz, colour.XYZ_to_xy(D50))


def nodes(side):
    line = np.linspace(0, 1, side)
    return np.stack(np.meshgrid(line, line, line, indexing="ij"), -1).reshape(-1, 3)


def encoded(xyz, connection, old):
    """Values from 0 to 1 in a table; `old` is the 16-bit code of lut16Type."""
    if connection == b"XYZ ":
        return xyz / (1 + 32767 / 32768)
    values = lab(xyz) * [1 / 100, 1 / 255, 1 / 255] + [0, 128 / 255, 128 / 255]
    return values * (65280 / 65535 if old else 1)


def plain(bits, connection):
    """lut8Type or lut16Type; curves before it make the table's steps even to the eye."""
    side, most = 17, 2**bits - 1
    bend = np.linspace(0, 1, 256) ** 0.8
    table = encoded(camera(nodes(side) ** (1 / 0.8)), connection, old=bits == 16)
    code = lambda values: np.round(np.clip(values, 0, 1) * most).astype(">u2" if bits == 16 else "u1").tobytes()
    head = b"mft2" if bits == 16 else b"mft1"
    counts = struct.pack(">HH", 256, 256) if bits == 16 else b""
    straight = np.linspace(0, 1, 256)
    return (head + bytes(4) + bytes([3, 3, side, 0]) + fixed(np.eye(3)) + counts
            + code(np.tile(bend, 3)) + code(table) + code(np.tile(straight, 3)))


def power(exponent):
    return b"para\0\0\0\0\0\0\0\0" + fixed([exponent])


def curved(connection):
    """lutAToBType: A curves, a table of unequal sides, M curves, a matrix and B curves."""
    sides = [9, 13, 11]
    lines = [np.linspace(0, 1, side) for side in sides]
    grid = np.stack(np.meshgrid(*lines, indexing="ij"), -1).reshape(-1, 3)
    if connection == b"XYZ ":
        # The table has light of the camera's primaries, and the matrix does the rest.
        values = np.linalg.solve(PRIMARIES, camera(grid).T).T ** (1 / 2.2)
        matrix, more, between = PRIMARIES / (1 + 32767 / 32768), np.zeros(3), power(2.2)
    else:
        values, matrix, more, between = encoded(camera(grid), connection, False), np.eye(3), np.zeros(3), power(1.0)
    table = bytes(sides) + bytes(13) + bytes([2, 0, 0, 0]) + \
        np.round(np.clip(values, 0, 1) * 65535).astype(">u2").tobytes()
    table += bytes(-len(table) % 4)
    parts = [power(1.0) * 3, fixed(matrix) + fixed(more), between * 3, table, power(1.0) * 3]
    starts = np.cumsum([32, *map(len, parts)])[:5]
    return b"mAB \0\0\0\0" + bytes([3, 3, 0, 0]) + struct.pack(">5I", *starts) + b"".join(parts)


def kinds():
    yield "8 bits, CIELAB", profile(b"RGB ", b"Lab ", {b"A2B0": plain(8, b"Lab ")})
    yield "16 bits, CIELAB", profile(b"RGB ", b"Lab ", {b"A2B0": plain(16, b"Lab ")})
    yield "16 bits, CIE XYZ", profile(b"RGB ", b"XYZ ", {b"A2B0": plain(16, b"XYZ ")})
    yield "curves and table, CIELAB", profile(b"RGB ", b"Lab ", {b"A2B0": curved(b"Lab ")}, 4)
    yield "curves, table and matrix, CIE XYZ", profile(b"RGB ", b"XYZ ", {b"A2B0": curved(b"XYZ ")}, 4)
    # Measured colours go before pleasant ones, which are wrong here.
    pleasant = plain(16, b"Lab ")[:-1536 - 2 * 3 * 17**3] + bytes(1536 + 2 * 3 * 17**3)
    yield "tables for two intents", profile(b"RGB ", b"Lab ", {b"A2B0": pleasant, b"A2B1": plain(16, b"Lab ")})


def light(tools, name, picture, *words):
    """Linear light of a picture's pixels, or what the probe says."""
    file = tools.folder / name
    file.write_bytes(picture)
    done = subprocess.run([tools.built / "examples" / "light_probe", file, *words], capture_output=True, text=True)
    if done.returncode:
        return None, done.stderr
    return np.array([[float(v) for v in line.split()] for line in done.stdout.splitlines()]), ""


def lab_of_light(linear):
    """CIELAB under D50 of sRGB's linear light, adapted by Bradford's matrix."""
    space = colour.RGB_COLOURSPACES["sRGB"]
    xyz = linear @ space.matrix_RGB_to_XYZ.T
    white = colour.xy_to_XYZ(space.whitepoint)
    return lab(colour.chromatic_adaptation(xyz, white, D50, transform="Bradford"))


def theirs(pixels, mode, icc):
    """CIELAB by littlecms, of 8-bit codes."""
    source = ImageCms.ImageCmsProfile(io.BytesIO(icc))
    to = ImageCms.buildTransform(source, ImageCms.createProfile("LAB"), mode, "LAB",
                                 ImageCms.Intent.RELATIVE_COLORIMETRIC, ImageCms.Flags.NOOPTIMIZE)
    image = Image.fromarray(pixels if mode == "RGB" else pixels[..., 0], mode)
    seen = np.frombuffer(ImageCms.applyTransform(image, to).tobytes(), np.uint8).reshape(-1, 3)
    # Pillow has a* and b* as signed bytes.
    return np.column_stack([seen[:, 0] / 2.55, seen[:, 1:].view(np.int8).astype(float)])


def checks(tools):
    yield from tables(tools)
    yield from greys(tools)
    yield from garbage(tools)
    yield from grey_print(tools)


def tables(tools):
    draw = np.random.default_rng(7)
    ramp = np.repeat(np.arange(0, 256, 15)[:, None], 3, axis=1)
    codes = np.vstack([ramp, draw.integers(0, 256, (600 - len(ramp), 3))]).reshape(20, 30, 3).astype(np.uint8)
    off, deep, tint, count = [], [], [], 0
    for name, icc in kinds():
        shallow, said = light(tools, "profile.png", png(codes, 8, with_profile(icc)))
        assert shallow is not None, (name, said)
        ours, littles = lab_of_light(shallow), theirs(codes, "RGB", icc)
        apart = colour.delta_E(ours, littles, method="CIE 2000")
        print(f"       {name}: ΔE00 {apart.mean():.2f} in the mean, {apart.max():.2f} at worst")
        off.append(apart)
        # A table of unequal sides has no points for greys of its own.
        if "curves" not in name:
            tint.append(np.abs(ours[:len(ramp), 1:]).max())
        fine, _ = light(tools, "profile.png", png(codes.astype(int) * 257, 16, with_profile(icc)))
        deep.append(np.abs(fine - shallow).max())
        count += len(codes)
    pooled = np.concatenate(off)
    yield Check("colours through tables, mean ΔE00", LITTLE, pooled.mean(), 0.5, len(pooled))
    yield Check("colours through tables, ΔE00", LITTLE, np.quantile(pooled, 0.99), 1.0, len(pooled))
    yield Check("hue of greys through tables, a* and b*", "the camera's greys are grey", max(tint), 0.2, len(tint) * len(ramp))
    yield Check("16 bits and 8 of the same codes, light", "the same codes", max(deep), 1e-6, len(deep))


def greys(tools):
    """Greyscale: by gamma, by sRGB, by profiles, with opacity, of 8 and 16 bits."""
    ramp = np.arange(256).reshape(16, 16, 1).astype(np.uint8)
    gamma = lambda v: (b"gAMA", struct.pack(">I", round(v * 100000)))
    linear = np.arange(256) / 255
    srgb = colour.models.eotf_sRGB(linear)
    curve = b"curv\0\0\0\0" + struct.pack(">IH", 1, round(1.8 * 256))
    by_light = profile(b"GRAY", b"XYZ ", {b"kTRC": curve}, kind=b"mntr")
    by_lightness = profile(b"GRAY", b"Lab ", {b"kTRC": b"curv\0\0\0\0" + bytes(4)}, kind=b"mntr")
    known = [
        ("nothing said", [], srgb, "IEC 61966-2-1 by colour-science"),
        ("sRGB chunk", [(b"sRGB", b"\0")], srgb, "IEC 61966-2-1 by colour-science"),
        ("gamma 1", [gamma(1.0)], linear, "ISO/IEC 15948, gAMA"),
        ("gamma 1/1.8", [gamma(1 / 1.8)], linear**1.8, "ISO/IEC 15948, gAMA"),
    ]
    off, wrong = [], 0
    for name, chunks, truth, _ in known:
        for depth, scale in ((8, 1), (16, 257)):
            for channels in (1, 2):
                pixels = np.concatenate([ramp.astype(int) * scale] * channels, axis=2)
                if channels == 2:
                    pixels[..., 1] = 255 * scale
                picture = png(pixels, depth, *chunks)
                seen, said = light(tools, "grey.png", picture, "grey")
                off.append(np.abs(seen - truth[:, None]).max())
                refused, said = light(tools, "grey.png", picture)
                wrong += refused is not None or "--grey" not in said
    yield Check("light of greys", "IEC 61966-2-1 by colour-science; ISO/IEC 15948", max(off), 1e-5, len(off))
    by_profile = []
    for icc in (by_light, by_lightness):
        seen, said = light(tools, "grey.png", png(ramp, 8, with_profile(icc)), "grey")
        assert seen is not None, said
        wanted = theirs(np.repeat(ramp, 3, axis=2), "L", icc)
        by_profile.append(np.abs(lab_of_light(seen)[:, 0] - wanted[:, 0]).max())
    yield Check("lightness of greys by profiles, L*", LITTLE, max(by_profile), 0.3, 512)
    coloured = np.repeat(ramp, 3, axis=2)
    for pixels, words, said_so in ((coloured, [], "--grey"), (coloured ^ np.uint8([0, 0, 1]), ["grey"], "in colour")):
        seen, said = light(tools, "grey.png", png(pixels, 8), *words)
        wrong += seen is not None or said_so not in said
    for_colour = next(kinds())[1]
    seen, said = light(tools, "grey.png", png(ramp, 8, with_profile(for_colour)), "grey")
    wrong += seen is not None or "not for grey" not in said
    yield Check("pictures without hue that are read as if they had some, or the other way", "by hand", wrong, 0, 19)


def garbage(tools):
    """Profiles with bytes changed or cut: read or refused in words, and never a panic."""
    draw = np.random.default_rng(8)
    pixels = draw.integers(0, 256, (2, 2, 3)).astype(np.uint8)
    panics, count = 0, 0
    for _, icc in kinds():
        for _ in range(20):
            spoiled = bytearray(icc)
            for place in draw.integers(0, min(len(spoiled), 700), draw.integers(1, 6)):
                spoiled[place] = draw.integers(256)
            spoiled = bytes(spoiled[:draw.integers(1, len(spoiled))] if draw.random() < 0.3 else spoiled)
            seen, said = light(tools, "garbage.png", png(pixels, 8, with_profile(spoiled)))
            panics += "panicked" in said or (seen is None and "has a" not in said) \
                or (seen is not None and not np.isfinite(seen).all())
            count += 1
    yield Check("spoiled profiles that are neither refused in words nor followed", "by hand", panics, 0, count)


def grey_print(tools):
    """A bar of white and black, photographed, saved without colour, read with --grey."""
    names = ("white", "black")
    bar = photographs.Print(tools.built / "tintfall", tools.folder / "grey-print", names)
    alone, at = bar.spectra(names, "stirred")
    shot = studio.Shot(size=photographs.SIZE, exposure=0.85, gradient=0.2)
    jpeg, *_ = studio.photograph(shot, bar.card, bar.mesh, at)
    out = io.BytesIO()
    Image.open(io.BytesIO(jpeg)).convert("L").save(out, "PNG")
    said, none = bar.read("grey.png", out.getvalue(), shot)
    wrong = none is not None or "--grey" not in said
    said, labs = bar.read("grey.png", out.getvalue(), shot, words=["--grey"])
    wrong += "only lightness is read" not in said
    wrong += "lightness alone" not in (bar.folder / "grey.png.csv").read_text()
    truth = plastics.lab(alone)
    yield Check("grey plastic without colour, L*", photographs.SOURCE, np.abs(labs[:, 0] - truth[:, 0]).max(), 2.5, len(labs))
    yield Check("hue of grey plastic without colour", "none is seen", np.abs(labs[:, 1:]).max(), 0, len(labs))
    blue = photographs.Print(tools.built / "tintfall", tools.folder / "blue-print")
    said, labs = blue.read("grey.png", out.getvalue(), shot, words=["--grey"])
    wrong += labs is not None or "not grey" not in said
    yield Check("greyscale photographs read where they must not, or not told", "by hand", wrong, 0, 4)
