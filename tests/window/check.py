"""Checks the plan that tests/window/run has made by pointer."""

import pathlib
import re
import sys

text = pathlib.Path(sys.argv[1]).read_text()
faults = []


def expect(condition, what):
    if not condition:
        faults.append(what)


regions = text[text.index("regions:"):]
band = regions.find('name: "Band"')
area = regions.find('name: "Area"')
expect(band >= 0, "there is no region named Band")
expect(area > band, "the painted area does not lie above the band")
in_band = regions[band:area]
expect("Band(" in in_band or "Band (" in in_band, "the band's mask is no band")
expect("Fade(" in in_band, "the band has no fade: redo did not bring it back")
heights = re.search(r"from_mm:\s*([\d.]+),\s*to_mm:\s*([\d.]+)", in_band)
expect(heights and float(heights[2]) - float(heights[1]) > 1.0, "the band has no height")
in_area = regions[area:]
expect("Paint(" in in_area, "the area has no stroke")
dabs = re.search(r"dabs_mm:\s*\[(.*?)\]", in_area, re.S)
expect(dabs and len(re.findall(r"\(", dabs[1])) >= 2, "the stroke has fewer than two dabs")

for fault in faults:
    print(fault, file=sys.stderr)
sys.exit(1 if faults else 0)
