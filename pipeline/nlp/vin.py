"""Vehicle identification numbers: check digit and the model year of position 10 (49 CFR 565; ISO 3779).

European makers need not give a valid check digit, so a wrong one is a doubt and never a reason to refuse a number.
"""

from __future__ import annotations

import re

WEIGHTS = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)  # 49 CFR 565.15(c), table IV
_LETTERS = {letter: value for value, group in enumerate(("AJ", "BKS", "CLT", "DMU", "ENV", "FW", "GPX", "HY", "RZ"), 1)
            for letter in group}  # fmt: skip
_VALUES = {**_LETTERS, **{str(digit): digit for digit in range(10)}}  # table III
_YEAR_CODES = "ABCDEFGHJKLMNPRSTVWXY123456789"  # 1980-2009, then again from 2010: table VII
_SHAPE = re.compile(r"[A-HJ-NPR-Z0-9]{17}")


def is_vin(text: str) -> bool:
    """Whether a text has the shape of a VIN: 17 capitals and digits without I, O and Q."""
    return _SHAPE.fullmatch(text) is not None


def weighted_sum(vin: str) -> int:
    """Sum of value times weight over the 17 positions. Raises ValueError when it is not shaped like a VIN."""
    if not is_vin(vin):
        raise ValueError(f"{vin!r} is not 17 letters and digits without I, O and Q")
    return sum(_VALUES[sign] * weight for sign, weight in zip(vin, WEIGHTS, strict=True))


def check_digit(vin: str) -> str:
    """What position 9 should hold: the weighted sum modulo 11, 10 written X."""
    rest = weighted_sum(vin) % 11
    return "X" if rest == 10 else str(rest)


def has_valid_check_digit(vin: str) -> bool:
    """Whether position 9 is the computed check digit."""
    return is_vin(vin) and vin[8] == check_digit(vin)


def model_years(vin: str, latest: int) -> tuple[int, ...]:
    """Model years that position 10 can mean, oldest first, none later than `latest` (a calendar year) plus one.

    For light vehicles with a valid check digit position 7 tells the cycle: a digit before 2010, a letter from 2010
    (49 CFR 565.15(d)(1)). Elsewhere both cycles are given. Empty when position 10 is no year code.
    """
    if not is_vin(vin) or vin[9] not in _YEAR_CODES:
        return ()
    first = 1980 + _YEAR_CODES.index(vin[9])
    cycles: tuple[int, ...] = (first, first + 30)
    if has_valid_check_digit(vin) and vin[0] in "12345":  # North American numbers follow the rule
        cycles = cycles[:1] if vin[6].isdigit() else cycles[1:]
    return tuple(year for year in cycles if year <= latest + 1)
