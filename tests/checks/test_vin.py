"""Check digits against published samples.

49 CFR 565 (sample 1G4AH59H45G118341, sum 411, digit 4); the other sums worked by hand with the table's weights.
"""

import pytest

from pipeline.nlp.vin import check_digit, has_valid_check_digit, is_vin, model_years, weighted_sum


@pytest.mark.parametrize(
    ("vin", "total", "digit"),
    [
        ("1G4AH59H45G118341", 411, "4"),
        ("1J9RP1A36A1644345", 314, "6"),
        ("1M8GDM9AXKP042788", 351, "X"),
        ("LJCPCBLCX11000237", 186, "X"),
    ],
)
def test_published_samples(vin: str, total: int, digit: str) -> None:
    assert weighted_sum(vin) == total
    assert check_digit(vin) == digit
    assert has_valid_check_digit(vin)


@pytest.mark.parametrize("position", range(17))
def test_one_changed_character_is_seen(position: int) -> None:
    vin = "1G4AH59H45G118341"
    following = {"G": "H", "A": "B", "H": "J", "9": "8"}
    sign = vin[position]
    other = vin[:position] + following.get(sign, str(int(sign) + 1) if sign.isdigit() else "") + vin[position + 1 :]
    assert is_vin(other)
    assert not has_valid_check_digit(other)


@pytest.mark.parametrize(
    "text", ["", "1G4AH59H45G11834", "1G4AH59H45G1183411", "IG4AH59H45G118341", "1g4ah59h45g118341"]
)
def test_other_shapes_are_no_vin(text: str) -> None:
    assert not is_vin(text)
    with pytest.raises(ValueError, match="17 letters and digits"):
        weighted_sum(text)


def test_model_year_cycles() -> None:
    assert model_years("1G4AH59H45G118341", 2026) == (2005,)  # a digit in position 7
    assert model_years("1M8GDM9AXKP042788", 2026) == (1989,)
    assert model_years("LJCPCBLCX11000237", 2026) == (2001,)  # elsewhere: both cycles, the later one is to come
    assert model_years("LJCPCBLCXA1000237", 2026) == (1980, 2010)
    assert model_years("LJCPCBLCXZ1000237", 2026) == ()
    assert model_years("LJCPCBLCX01000237", 2026) == ()
