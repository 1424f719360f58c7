"""Makes conversions.tsv: what GNU units and pint say about the units that a library may use.

Prints the table to standard output. GNU units answers in floating point, of which 13 digits are kept, so that the table is
the same whatever order a version multiplies in. pint answers in exact fractions (non_int_type=Fraction).
Run by make.sh, with the Python that Debian's python3-pint belongs to.
"""

import subprocess
from fractions import Fraction

import pint

# dimension: [(unit as in a library, for GNU units, for pint)]; the first of each is the SI unit. A dash: not known there.
# "radian" is written out for GNU units, where rad is the radiation dose. pint 0.19 has no percent.
UNITS = {
    "length": [("m", "m", "m"), ("um", "um", "um"), ("mm", "mm", "mm"), ("cm", "cm", "cm"), ("in", "in", "inch")],
    "speed": [
        ("m/s", "m/s", "m/s"),
        ("mm/s", "mm/s", "mm/s"),
        ("mm/min", "mm/min", "mm/min"),
        ("m/min", "m/min", "m/min"),
        ("in/min", "in/min", "inch/min"),
    ],
    "pressure": [
        ("Pa", "Pa", "Pa"),
        ("mbar", "mbar", "mbar"),
        ("bar", "bar", "bar"),
        ("kPa", "kPa", "kPa"),
        ("MPa", "MPa", "MPa"),
        ("psi", "psi", "psi"),
    ],
    "power": [("W", "W", "W"), ("kW", "kW", "kW")],
    "time": [("s", "s", "s"), ("us", "us", "us"), ("ms", "ms", "ms"), ("min", "min", "min")],
    "frequency": [("Hz", "Hz", "1/s"), ("kHz", "kHz", "kHz")],
    "ratio": [("1", "1", "-"), ("%", "percent", "-")],
    "beam-parameter-product": [
        ("m.rad", "m radian", "m*radian"),
        ("mm.mrad", "mm milliradian", "mm*milliradian"),
    ],
    "conductance": [
        ("m3/(s.Pa)", "m^3/(s Pa)", "m**3/(s*Pa)"),
        ("dm3/(s.bar)", "dm^3/(s bar)", "dm**3/(s*bar)"),
    ],
    "temperature": [("K", "K", "kelvin"), ("degC", "tempC", "degC")],
    "mass": [("kg", "kg", "kg"), ("g", "g", "g")],
    "volume-flow": [
        ("m3/s", "m^3/s", "m**3/s"),
        ("L/min", "L/min", "L/min"),
        ("m3/h", "m^3/hour", "m**3/hour"),
    ],
}

NUMBERS = ["1", "3.4", "0.21", "1234.5678", "-25", "0.000001", "987654321.123456"]
INCHES = ["1/8", "3/16", "1 1/4", "-1/64", "1/3"]


def fraction(text):
    """The value of "1 1/4", "-1/64" or "3.4"."""
    whole, _, part = text.rpartition(" ")
    return Fraction(whole or 0) + Fraction(part)


def gnu_have(text, unit):
    """A quantity in the language of GNU units, where a fraction is 1|4 and a temperature a function."""
    number = "+".join(text.split()).replace("/", "|").replace("-1|", "-(1|") + (")" if "-1/" in text else "")
    return f"tempC({number})" if unit == "tempC" else f"({number}) {unit}"


def gnu(pairs):
    """Converts pairs (have, want) in one run of GNU units."""
    lines = "".join(f"{have}\n{want}\n" for have, want in pairs)
    command = ["units", "--quiet", "--terse", "--strict", "--one-line", "--output-format", "%.13g"]
    out = subprocess.run(command, input=lines, capture_output=True, text=True, check=True).stdout.split("\n")[: len(pairs)]
    for (have, want), answer in zip(pairs, out, strict=True):
        try:
            float(answer)
        except ValueError:
            raise SystemExit(f"GNU units cannot convert {have} to {want}: {answer}")
    return out


def main():
    ureg = pint.UnitRegistry(non_int_type=Fraction)
    rows, pairs = [], []
    for dimension, units in UNITS.items():
        for source in units:
            for text in NUMBERS + (INCHES if source[0] == "in" else []):
                if dimension == "temperature" and text.startswith("-") and source[0] == "K":
                    continue
                for target in units:
                    exact = "-"
                    if source[2] != "-":
                        exact = str(ureg.Quantity(fraction(text), source[2]).to(target[2]).magnitude)
                    rows.append((dimension, text, source[0], target[0], exact))
                    pairs.append((gnu_have(text, source[1]), target[1]))
    print("# Made by make.sh from GNU units and pint; see README.md.")
    print("# dimension\tnumber\tunit\tin unit\tpint, exact\tGNU units")
    for row, answer in zip(rows, gnu(pairs), strict=True):
        print("\t".join((*row, answer)))


main()
