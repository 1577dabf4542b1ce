#!/usr/bin/env python3
"""What others' work is built in, by `cargo metadata` for this machine's platform.

  .ci/dependencies.py check                        licences, sources and doubles, by the lists below
  .ci/dependencies.py texts PACKAGE... > FILE      the licence texts of all that these packages link

Known holes in libraries are not looked up: their list, the RustSec database, is not on the package
registry. Where it can be reached, `cargo install cargo-deny && cargo deny check advisories` does it.
"""

import json
import re
import subprocess
import sys
from collections import Counter
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
REGISTRY = "registry+https://github.com/rust-lang/crates.io-index"

# Permissive, without a duty beyond handing on the text.
ALLOWED = {
    "0BSD", "Apache-2.0", "Apache-2.0 WITH LLVM-exception", "BSD-2-Clause", "BSD-3-Clause", "BSL-1.0",
    "CC0-1.0", "ISC", "MIT", "MIT-0", "Unicode-3.0", "Unlicense", "Zlib",
}
# Licences that are fine for what one package holds.
ALLOWED_FOR = {
    "epaint_default_fonts": {"OFL-1.1", "Ubuntu-font-1.0"},  # typefaces, embedded unchanged
}
# They would need a -dev package to build, and the README promises that none is needed.
BANNED = {"alsa-sys", "freetype-sys", "libudev-sys", "openssl-sys", "servo-fontconfig-sys", "wayland-sys"}
# Linked into the command in two versions or more, since libraries of others ask for both.
DOUBLES = {"hashbrown", "miniz_oxide", "rustc-hash"}

TEXT = re.compile(r"^(licen[sc]e|copying|copyright|notice|unlicense|ofl|ufl)", re.I)


def metadata():
    version = subprocess.run(["rustc", "-vV"], check=True, capture_output=True, text=True).stdout
    host = re.search(r"^host: (.*)$", version, re.M)[1]
    command = ["cargo", "metadata", "--format-version", "1", "--locked", "--filter-platform", host]
    done = subprocess.run(command, cwd=ROOT, check=True, capture_output=True, text=True)
    return json.loads(done.stdout)


def permitted(expression, allowed):
    """Whether an SPDX expression (or the older form with strokes) leaves a choice that is allowed."""
    words = re.findall(r"\(|\)|[^\s()]+", expression.replace("/", " OR "))
    at = 0

    def either():
        nonlocal at
        holds = both()
        while at < len(words) and words[at] == "OR":
            at += 1
            holds = both() or holds
        return holds

    def both():
        nonlocal at
        holds = one()
        while at < len(words) and words[at] == "AND":
            at += 1
            holds = one() and holds
        return holds

    def one():
        nonlocal at
        word = words[at]
        at += 1
        if word == "(":
            holds = either()
            at += 1
            return holds
        if at < len(words) and words[at] == "WITH":
            word, at = f"{word} WITH {words[at + 1]}", at + 2
        return word in allowed

    holds = either()
    return holds and at == len(words)


def linked(wanted):
    """Name and version of all that is linked into these packages: without what only builds or tests them."""
    command = ["cargo", "tree", "--locked", "--prefix", "none", "--edges", "normal,no-proc-macro", "--format", "{p}"]
    command += [word for name in wanted for word in ("--package", name)]
    tree = subprocess.run(command, cwd=ROOT, check=True, capture_output=True, text=True).stdout
    # `name v1.2.3`, and the folder behind it where it is ours.
    return {(words[0], words[1].removeprefix("v")) for words in map(str.split, tree.splitlines()) if words}


def check(data):
    faults = []
    ours = set(data["workspace_members"])
    by_name = {}
    for package in data["packages"]:
        name, version = package["name"], package["version"]
        told = f"{name} {version}"
        by_name.setdefault(name, []).append(version)
        if package["id"] in ours:
            wild = [d["name"] for d in package["dependencies"] if d["req"] == "*" and not d.get("path")]
            faults += [f"{name} takes any version of {other}; name one" for other in wild]
            continue
        allowed = ALLOWED | ALLOWED_FOR.get(name, set())
        if not package["license"] or not permitted(package["license"], allowed):
            faults.append(f"{told}: its licence, {package['license']}, is not on the list")
        if package["source"] != REGISTRY:
            faults.append(f"{told} comes from {package['source']}, not from crates.io")
        if name in BANNED:
            faults.append(f"{told} needs a -dev package to build")
    in_command = linked(["tintfall"])
    counts = Counter(name for name, _ in in_command)
    doubles = {name for name, count in counts.items() if count > 1}
    faults += [f"the command links {name} in two versions" for name in sorted(doubles - DOUBLES)]
    faults += [f"{name} is no longer there twice; strike it from the list" for name in sorted(DOUBLES - doubles)]
    many = sum(len(versions) > 1 for versions in by_name.values())
    print(f"{len(data['packages'])} packages, {many} of them in two versions or more; "
          f"the command links {len(in_command)}, {len(doubles)} of them so")
    names = {package["name"] for package in data["packages"]}
    added = [f.stem for f in sorted((ROOT / ".ci/licences").glob("*.txt"))]
    faults += [f".ci/licences/{name}.txt is of a package that is not used" for name in added if name not in names]
    for fault in faults:
        print(f"FAIL {fault}")
    return 1 if faults else 0


def texts(data, wanted):
    ours, inside = set(data["workspace_members"]), linked(wanted)
    others = [p for p in data["packages"] if p["id"] not in ours and (p["name"], p["version"]) in inside]
    said, lacking = {}, []
    for package in sorted(others, key=lambda p: (p["name"], p["version"])):
        folder = Path(package["manifest_path"]).parent
        files = [f for f in sorted(folder.rglob("*")) if f.is_file() and is_text(f.relative_to(folder))]
        # Some carry others' work without its text; the project of that work publishes it.
        added = ROOT / ".ci/licences" / f"{package['name']}.txt"
        files += [added] if added.is_file() else []
        told = f"{package['name']} {package['version']} ({package['license']})"
        if not files:
            lacking.append(f"{told}, by {', '.join(package['authors']) or 'its authors'}, {package['repository']}")
        for file in files:
            said.setdefault(file.read_text(errors="replace").strip(), []).append(told)
    print("Work of others in these programs, and its licences.\n")
    for text, names in said.items():
        print("=" * 80, *dict.fromkeys(names), "-" * 80, text, "", sep="\n")
    if lacking:
        # The terms are those of our own texts: the licences are the same.
        print("=" * 80, *lacking, "-" * 80, sep="\n")
        print("These come without a text of their own. Where they are under MIT or Apache-2.0, the\n"
              "terms are those of LICENSE-MIT and LICENSE-APACHE beside this file.")
    return 0


def is_text(path):
    inside = {part.lower() for part in path.parts[:-1]}
    return bool(TEXT.match(path.name)) and path.suffix.lower() not in {".rs", ".html", ".ttf", ".otf"} and (
        not inside or inside <= {"fonts", "licenses", "licences", "license"})


def main():
    match sys.argv[1:]:
        case ["check"]:
            return check(metadata())
        case ["texts", *wanted] if wanted:
            return texts(metadata(), wanted)
    sys.exit(__doc__)


if __name__ == "__main__":
    sys.exit(main())
