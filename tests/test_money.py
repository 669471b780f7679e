"""Prices in other currencies are converted at a stated rate or refused, never guessed."""

from pipeline.buyer import RegionDefaults, read_buyer
from pipeline.money import in_buyers_currency

UK = RegionDefaults("GBP", 60.0, 0.45, 10.0)


def test_conversion(tmp_path) -> None:  # type: ignore[no-untyped-def]
    path = tmp_path / "buyer.toml"
    path.write_text('[buyer]\nhome = "Hexham"\n[buyer.rates]\nEUR = 0.86\n', encoding="utf-8")
    buyer = read_buyer(path, UK)
    assert in_buyers_currency(1000, "EUR", buyer).amount == 860
    assert in_buyers_currency(1000, "GBP", buyer).amount == 1000
    assert in_buyers_currency(1000, None, buyer).amount == 1000
    refused = in_buyers_currency(1000, "USD", buyer)
    assert refused.amount is None and "buyer.toml" in (refused.note or "")
    assert in_buyers_currency(None, None, buyer).note == "the advert gives no price"
