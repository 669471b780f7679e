"""buyer.toml: completed from the region, refused with file, line and remedy."""

from datetime import date
from pathlib import Path

import pytest

from pipeline.buyer import RegionDefaults, read_buyer, read_region
from pipeline.errors import BuyerError
from pipeline.paths import data_folder

UK = RegionDefaults("GBP", 60.0, 0.45, 10.0)


def write(folder: Path, text: str) -> Path:
    path = folder / "buyer.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_home_alone_is_enough(tmp_path: Path) -> None:
    buyer = read_buyer(write(tmp_path, '[buyer]\nhome = "Hexham"\n'), UK)
    assert (buyer.currency, buyer.labour_rate, buyer.travel_cost_per_mile) == ("GBP", 60.0, 0.45)
    assert (buyer.purpose, buyer.packs, buyer.as_of) == ("everyday", ("general",), None)


def test_what_the_buyer_says_goes_before_the_region(tmp_path: Path) -> None:
    text = '[buyer]\nhome = "Cork"\ncurrency = "EUR"\nlabour_rate = 70\ntravel_cost_per_km = 0.5\npacks = ["pickup"]\n'
    buyer = read_buyer(write(tmp_path, text), UK)
    assert (buyer.currency, buyer.labour_rate) == ("EUR", 70)
    assert buyer.travel_cost_per_mile == pytest.approx(0.5 * 1.609344)
    assert buyer.packs == ("general", "pickup")


def test_the_demo_buyer_can_be_read() -> None:
    path = data_folder("data_demo") / "buyer.toml"
    buyer = read_buyer(path, UK)
    assert read_region(path) == "uk"
    assert buyer.as_of == date(2026, 10, 31)
    assert buyer.must["gearbox"] == ("manual",)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('[buyer]\nhome = "x"\nbudgett = 3\n', "buyer.toml:3: budgett: unknown key. Known keys are"),
        ('[buyer]\npurpose = "everyday"\n', "home: is needed"),
        ('[buyer]\nhome = "x"\n\nbudget_total = -5\n', "buyer.toml:4: budget_total:"),
        ('[buyer]\nhome = "x"\npurpose = "racing"\n', "buyer.toml:3: purpose:"),
        ('[buyer]\nhome = "x\n', "buyer.toml:2: is not valid TOML"),
        ('[buyer]\nhome = "x"\n[must]\ncolour = ["red"]\n', "buyer.toml:3: must: unknown fact 'colour'"),
        ('[buyer]\nhome = "x"\ncurrency = "EUR"\n', "buyer.toml:3: prices are in EUR"),
    ],
)
def test_errors_name_file_line_and_remedy(tmp_path: Path, text: str, says: str) -> None:
    with pytest.raises(BuyerError) as caught:
        read_buyer(write(tmp_path, text), UK)
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_missing_file_says_how_to_make_one(tmp_path: Path) -> None:
    with pytest.raises(BuyerError, match="viewworthy start"):
        read_buyer(tmp_path / "buyer.toml", UK)


def test_bytes_that_are_no_text_are_refused(tmp_path: Path) -> None:
    (tmp_path / "buyer.toml").write_bytes(b"[buyer]\nhome = '\xff'\n")
    with pytest.raises(BuyerError, match="UTF-8"):
        read_buyer(tmp_path / "buyer.toml", UK)
