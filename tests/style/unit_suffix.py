# SPDX-License-Identifier: Apache-2.0
"""Rejects a plain copy between names of different unit suffix, and a suffix table that has drifted.

usage: unit_suffix.py SOURCE_FOLDER
The closed table of suffixes stands in docs/conventions.md; src/base/units.cpp must hold the same.
"""
import pathlib
import re
import sys


def table_of(page):
    rows = re.findall(r"^\| `_(\w+)` \| `([^`]+)` \|", page, re.M)
    return dict(rows)


def misfits(units, text):
    """(line, left unit, right unit) of every copy `name_UNIT = other_UNIT` whose units differ."""
    longest_first = "|".join(sorted(units, key=len, reverse=True))
    name = rf"\b[A-Za-z]\w*?_({longest_first})\b"
    copy = re.compile(
        rf"{name}\s*(?:=|\{{)\s*(?:[\w\[\]]+(?:\.|->))*{name}(?:\(\))?\s*(?=[,;)}}])"
    )
    for match in copy.finditer(text):
        if match.group(1) != match.group(2):
            yield text.count("\n", 0, match.start()) + 1, match.group(1), match.group(2)


def main(root):
    units = table_of((root / "docs/conventions.md").read_text())
    code = (root / "src/base/units.cpp").read_text()
    in_code = dict(re.findall(r'\{"_(\w+)",\s*"([^"]+)"\}', code))
    failures = []
    if not units or units != in_code:
        odd = set(units.items()) ^ set(in_code.items())
        failures.append(f"docs/conventions.md and src/base/units.cpp differ in {sorted(odd)}")
    for folder in ("src", "tests", "benchmarks"):
        for file in sorted((root / folder).rglob("*")):
            if file.suffix not in (".h", ".cpp"):
                continue
            for line, left, right in misfits(units, file.read_text()):
                failures.append(
                    f"{file.relative_to(root)}:{line}: unit {right} assigned to {left}: convert it by name"
                )
    # The check itself must be able to fail.
    sample = "a.pressure_Pa = air.temperature_K;\nb.x_rad_s = c.y_rad_s;\n"
    if [m[0] for m in misfits(units, sample)] != [1]:
        failures.append("the check does not see a wrong copy")
    print("\n".join(failures) or f"unit suffixes agree ({len(units)} in the table)")
    return 1 if failures else 0


sys.exit(main(pathlib.Path(sys.argv[1])))
