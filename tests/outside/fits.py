"""Fits of test prints that an independent simulator made: six sets of spools, four ways of mixing.

Each test print is fitted by `tintfall fit`, and blends that no step had are predicted and held
against what the simulator (`plastics.py`) says of them, without any noise. A fit should be near
them, and its ± should hold them about two times in three. `python fits.py --study` runs many
more prints and prints the tables of docs/colour.md.
"""

import itertools
import sys
from collections import defaultdict
from concurrent.futures import ThreadPoolExecutor

import numpy as np

import plastics
from tools import Check, Tools

SOURCE = "own simulator of pigments, with colour-science and scipy"
# Standard error of each of L*, a*, b*: a bench instrument, a hand-held one, a rough one (common
# practice, no source).
NOISES = (0.1, 0.3, 0.6)


def walk(parts):
    """Up by every second part and back by those between, as the test print goes."""
    return [*range(0, parts + 1, 2), *[n for n in range(parts, -1, -1) if n % 2]]


def pairs(count, parts, numbers):
    for one, other in itertools.combinations(range(count), 2):
        for n in numbers:
            shares = np.zeros(count)
            shares[one], shares[other] = 1 - n / parts, n / parts
            yield shares


def measured_steps(count):
    parts = 10 if count == 2 else 6
    steps = list(pairs(count, parts, walk(parts)))
    return np.array(steps + ([np.full(count, 1 / count)] if count > 2 else []))


def held_out(count):
    """Between the measured steps, and blends of all spools."""
    parts = 10 if count == 2 else 6
    blends = list(pairs(count, parts, np.arange(parts) + 0.5))
    if count > 2:
        blends += [[0.5, 0.25, 0.25], [0.25, 0.5, 0.25], [0.25, 0.25, 0.5], [0.7, 0.15, 0.15]]
    return np.array(blends)


def table(shares, labs):
    count = shares.shape[1]
    head = ["# format: 1", "# spools: spools.ron", "# specular: excluded",
            ",".join(["step", *(f"share_{i + 1}" for i in range(count)), "l", "a", "b"])]
    rows = [
        f"{n}," + ",".join(f"{s:.12f}" for s in step) + ",{:.3f},{:.3f},{:.3f}".format(*lab)
        for n, (step, lab) in enumerate(zip(shares, labs), 1)
    ]
    return "\n".join(head + rows) + "\n"


def spools_file(names, alone):
    """Spools as labels show them: the colour to the nearest sRGB code."""
    codes = np.round(np.clip(plastics.colour.XYZ_to_sRGB(
        plastics.colour.Lab_to_XYZ(alone, plastics.WHITE)), 0, 1) * 255).astype(int)
    spools = ", ".join(
        f'(name: "{name}", colour: Hex("#{code[0]:02x}{code[1]:02x}{code[2]:02x}"))'
        for name, code in zip(names, codes)
    )
    return f"(version: 1, spools: [{spools}])"


def printed(tools, case):
    """Prints, measures and fits one test print; the misses and ± of unmeasured blends."""
    names, way, noise, seed, shares, labs, alone = case
    folder = tools.folder / "-".join(["fit", *names, way, str(noise), str(seed)])
    folder.mkdir()
    (folder / "spools.ron").write_text(spools_file(names, alone))
    (folder / "measured.csv").write_text(table(shares, labs))
    fitted = tools.tintfall("fit", folder / "measured.csv", "--out", folder / "pair.ron")
    return folder / "pair.ron", fitted


def cases(seeds):
    for names, way in itertools.product(plastics.SETS, plastics.WAYS):
        shares = measured_steps(len(names))
        true = plastics.mixed(names, shares, way)
        alone = plastics.mixed(names, np.eye(len(names)), way)
        for noise, seed in itertools.product(NOISES, seeds):
            draw = np.random.default_rng([seed, round(noise * 10), len(way), *map(ord, names[1])])
            labs = true + draw.normal(0, noise, true.shape)
            labs[:, 0] = labs[:, 0].clip(0, 100)
            yield names, way, noise, seed, shares, labs, alone


def study(tools, seeds):
    """Each print's set, way, noise, misses and ± of its unmeasured blends, and what was chosen."""
    all_cases = list(cases(seeds))
    with ThreadPoolExecutor(2) as pool:
        fits = list(pool.map(lambda case: printed(tools, case), all_cases))
    questions = [
        {"predict": {"measured": str(file), "shares": held_out(len(case[0])).tolist()}}
        for case, (file, _) in zip(all_cases, fits)
    ]
    truth = {}
    for case, (_, fitted), answer in zip(all_cases, fits, tools.colours(questions)):
        names, way, noise = case[:3]
        if (names, way) not in truth:
            truth[names, way] = plastics.mixed(names, held_out(len(names)), way)
        off = plastics.difference(answer["lab"], truth[names, way])
        yield names, way, noise, off, np.array(answer["error_de00"]), fitted


def checks(tools: Tools):
    by_way, misses, within = defaultdict(list), [], []
    for _, way, _, off, error, _ in study(tools, [1]):
        by_way[way].append((off.mean(), (off <= error).mean()))
        misses.append(off.mean())
        within.append((off <= error).mean())
    for way, each in by_way.items():
        off, held = np.mean(each, axis=0)
        print(f"       {way}: {off:.2f} ΔE00 where not measured, {100 * held:.0f} % within ±")
    yield Check("ΔE00 of unmeasured blends, mean over prints", SOURCE, np.mean(misses), 1.2, len(misses))
    for way, each in by_way.items():
        yield Check(f"the same, {way}", SOURCE, np.mean(each, axis=0)[0], 1.2, len(each))
    yield Check("share within ± of a fit, off from 70 %", SOURCE, abs(np.mean(within) - 0.7), 0.1, len(within))
    yield from samples(tools)


# A piece of each of these lets little light through.
SAMPLE_MM = 2.4


def samples(tools):
    """Spools known by a thick piece over black and white, mixed without a test print."""
    worst = []
    for names in (("white", "blue"), ("yellow", "blue"), ("bone", "turquoise"), ("white", "red")):
        spools = ", ".join(sample_of(name) for name in names)
        shares = np.array([[1 - t, t] for t in np.linspace(0, 1, 11)])
        answer, = tools.colours([{"walls": {"spools": f"[{spools}]", "shares": shares.tolist()}}])
        off = plastics.difference(answer["lab"], plastics.mixed(names, shares, "stirred"))
        worst.append(off.max())
        print(f"       {' and '.join(names)} by pieces of {SAMPLE_MM} mm: {off.mean():.1f} ΔE00, worst {off.max():.1f}")
    yield Check("ΔE00 of blends known by nearly opaque pieces", SOURCE, max(worst), 5.0, len(worst))


# The same pigments a good deal thinner, so that such a piece lets a little light through.
DILUTION = 12


def sample_of(name, thickness_mm=SAMPLE_MM):
    """A spool read over black and over white, as a plan has it."""
    k, s = (value / DILUTION for value in plastics.PIGMENTS[name])
    seen = [plastics.inside_thick(k, s)]
    seen += [plastics.inside_layer(k, s, thickness_mm, backing) for backing in (0.01, 0.80)]
    labs = plastics.lab(plastics.outside(np.array(seen)))
    thick, over_black, over_white = ("Lab(l: {:.2f}, a: {:.2f}, b: {:.2f})".format(*lab) for lab in labs)
    return (f'(name: "{name}", colour: {thick}, translucent: (thickness_mm: {thickness_mm}, '
            f"over_black: {over_black}, over_white: {over_white}))")


def main():
    tools = Tools()
    rows = list(study(tools, range(1, 6)))
    for title, key in (("way of mixing", 1), ("noise", 2), ("spools", 0)):
        groups = defaultdict(list)
        for row in rows:
            off, error = row[3], row[4]
            groups[row[key]].append((off.mean(), off.max(), (off <= error).mean(), (off <= 2 * error).mean()))
        print(f"\n| {title} | ΔE00, mean | worst | within ± | within 2 × ± |\n|---|---|---|---|---|")
        for name, each in groups.items():
            each = np.array(each)
            mean, _, one, two = each.mean(axis=0)
            name = " + ".join(name) if isinstance(name, tuple) else name
            print(f"| {name} | {mean:.2f} | {each[:, 1].max():.1f} | {100 * one:.0f} % | {100 * two:.0f} % |")
    off = np.concatenate([row[3] for row in rows])
    error = np.concatenate([row[4] for row in rows])
    print(f"\n{len(rows)} prints: mean {off.mean():.2f}, {100 * (off <= error).mean():.0f} % within ±")


if __name__ == "__main__":
    sys.exit(main() if "--study" in sys.argv else print(__doc__))
