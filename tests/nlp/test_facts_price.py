"""The asking price among the other sums of an advert, its currency and its terms."""

from datetime import date
from typing import Any

import pytest

from pipeline.nlp.facts import read_facts

DAY = date(2026, 11, 2)


def read(text: str, key: str) -> Any:
    chosen, _ = read_facts(text, DAY)
    return next((fact.value for fact in chosen if fact.key == key), None)


@pytest.mark.parametrize(
    ("text", "price"),
    [
        ("Marden Fennel 1.4, MOT June. £1,850, was £2,100. Kendal.", 1850),
        ("Paid £3,200 for it and spent £900 on the brakes. £2,750 ono.", 2750),
        ("i paid 2200 two years ago want 700 or sensible offer", 700),
        ("Marden Fennel 1.4 petrol 53 plate 94k mot march, 650 ono text 07700 900123", 650),
        ("Runs and drives. No MOT. 300 quid.", 300),
        ("Nice car. £275 no less.", 275),
        ("£4,400, or £4,600 with the winter wheels.", 4400),
        ("£150 deposit holds it. £2,300. Loan of £800 on it gets cleared first.", 2300),
        ("€ 9.900, 93.500 km, TÜV 05.2027", 9900),
        ("318 000 km. 13 800 €", 13800),
        ("Price: 6.200,00 EUR (VB)", 6200),
        ("CHF 19'500, fixed.", 19500),
        ("asking 11.5 obo, clean title, tires good", 11500),
        ("$13K firm, title in hand", 13000),
        ("6 grand obo, i need something quiet", 6000),
        ("I will not take less than £4,600, thank you.", 4600),
        ("£1,600 today, £1,800 tomorrow.", 1600),
        ("A tidy one would be £4,000. £2,200. Ripon.", 2200),
        ("Lot 14. Bidding closes Sunday, estimate £2,000 to £3,000.", None),
        ("Sensible offers only, it must go.", None),
        ("I paid £1300 and I'd be happy with £850. Ayr", 850),
        ("Non runner, spares or repair £600. Ayr", 600),
        ("Was offered nothing yet. $700 no holds without cash", 700),
        ("R55000 neg, bakkie", 55000),
        ("Ring 07700 900123 any time. 1998 car.", None),
        ("Comes with a bill of sale 3400 or trade for a boat", 3400),
        ("See it run before you pay me 2600 cash or trade", 2600),
        ("Two and a half grand or near it. Ayr", 2500),
        ("Asking twenty-eight hundred, will listen to reason", 2800),
        ("6 and a half grand or close offer", 6500),
        ("Runs and drives, tires are good all round, two keys. 36 hundred, or a quad", 3600),
        ("Make me an offer around six thousand. Ohio", 6000),
        ("14.5 firm, cash. Ohio", 14500),
        ("MOT May. Come for a look any day, Ayr 2,200", 2200),
        ("Oil changed at 9,800. Ayr", None),
        ("Garage wanted £1,100 for the head. £350, Ayr", 350),
        ("They want $1,700 for the axle. Ohio. 5800, bring offers", 5800),
        ("Had £6,000 offers last year, £4,750 takes it", 4750),
        ("I've seen them at £5k; £3,900 buys.", 3900),
        ("Picked up for 1800, fixed it up, want 2900 now", 2900),
        ("$11,750 + tax, company van", 11750),
        ("The scrapman says £260. I'd like £350 for it, £350", 350),
        ("First 600 quid. Ayr", 600),
        ("£5,000. Might take £4,750.", 5000),
        ("Verified by auction sheet. £5,400 o.n.o", 5400),
    ],
)
def test_asking_price(text: str, price: float | None) -> None:
    assert read(text, "asking_price") == price


@pytest.mark.parametrize(
    ("text", "currency"),
    [
        ("£500", "GBP"),
        ("500 euros", "EUR"),
        ("WOF to May, rego Feb. $5,800. Christchurch.", "NZD"),
        ("RWC included, rego to June, 189,000 km. $1,800", "AUD"),
        ("As is, no safety. 231,400 kms, Guelph Ontario. $5,400", "CAD"),
        ("Clean title, 211k miles, new tires. $2,300 obo", "USD"),
        ("A car. $900", "USD"),
        ("22 000 kr, besiktigad, Sweden", "SEK"),
        ("R118 000 neg, bakkie", "ZAR"),
        ("$9,500 CAD obo", "CAD"),
        ("Offers invited", None),
        ("Crew cab 4x4, rockers patched, 342,000 km. $12,900", "CAD"),
        ("Truck, 211k miles, rockers going. $2,300", "USD"),
        ("Six cylinder sedan, petrol, new tyres, rego June, 170k. $2,300", "AUD"),
        ("V6 gas minivan, tires good, 198,000 km. $2,300", "CAD"),
        ("Would break for parts, V5 here. 900", "GBP"),
        ("Sold uncertified, gas, 211,000. $2,300", "CAD"),
    ],
)
def test_currency(text: str, currency: str | None) -> None:
    assert read(text, "currency") == currency


@pytest.mark.parametrize(
    ("text", "terms"),
    [
        ("£900 ono", "negotiable"),
        ("£900, open to sensible offers", "negotiable"),
        ("$900 obo", "negotiable"),
        ("£900 or near", "negotiable"),
        ("£900 no offers", "fixed"),
        ("£900 firm", "fixed"),
        ("£900. Brake pedal is firm, battery flat.", None),
        ("£900 no offers till you have seen it", None),
        ("£900, I'd take a bit less from a neighbour", "negotiable"),
        ("$900 but I'm listening", "negotiable"),
        ("£900 or an offer", "negotiable"),
        ("£900 is the price", "fixed"),
        ("$900, no fees, no haggle", "fixed"),
        ("Mirror broken and I never fixed it. £900", None),
        ("Offers?", "offers"),
        ("Sealed bids opened on the 11th", "auction"),
        ("Bought at an auction years ago. £900", None),
        ("£900", None),
        ("£900, but I'd listen to a sensible offer", "negotiable"),
        ("£900 and a bit of luck money", "negotiable"),
        ("£900, there's some room", "negotiable"),
        ("£900 but throw me an offer", "negotiable"),
        ("£900 or a reasonable offer", "negotiable"),
        ("£900, or close to it", "negotiable"),
        ("£900, could be talked down", "negotiable"),
        ("£900 with a bit of give", "negotiable"),
        ("£900, I'm firm on the price", "fixed"),
        ("£900. It was £1,000 in May. Firm this time", "fixed"),
        ("£900, price isn't flexible", "fixed"),
        ("£900, no dickering", "fixed"),
        ("£900, I'll not haggle by text", None),
        ("£900, no offers down the phone", None),
        ("£900, no answer to daft offers", None),
        ("£900, the racks negotiable separately", None),
        ("Listen to the second gear. £900", None),
    ],
)
def test_terms(text: str, terms: str | None) -> None:
    assert read(text, "price_terms") == terms


def test_the_losing_sums_are_kept_as_rivals() -> None:
    chosen, rivals = read_facts("£1,850, was £2,100. Brakes cost me £400.", DAY)
    assert [fact.value for fact in chosen if fact.key == "asking_price"] == [1850]
    assert {2100, 400} <= {fact.value for fact in rivals if fact.key == "asking_price"}
