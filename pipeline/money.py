"""Money as the buyer reckons it: an advert's price in the buyer's currency, or why it cannot be used."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.types import Buyer


@dataclass(frozen=True, slots=True)
class Converted:
    """`amount` in the buyer's currency, None when it cannot be used; `note` says why or at what rate."""

    amount: float | None
    note: str | None = None


def in_buyers_currency(amount: float | None, currency: str | None, buyer: Buyer) -> Converted:
    """A price converted at a rate that the buyer states; without one it is refused, never guessed.

    An advert that gives a number without a currency is taken to mean the buyer's.
    """
    if amount is None:
        return Converted(None, "the advert gives no price")
    if currency is None or currency == buyer.currency:
        return Converted(float(amount))
    rate = buyer.rates.get(currency)
    if rate is None:
        return Converted(None, f"the price is in {currency}; put the rate in buyer.toml: [buyer.rates] {currency} = …")
    return Converted(float(amount) * rate, f"{currency} {amount:,.0f} at {rate:g}")
