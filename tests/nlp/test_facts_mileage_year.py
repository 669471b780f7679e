"""The odometer reading among other distances; the year among other years."""

from datetime import date
from typing import Any

import pytest

from pipeline.nlp.facts import read_facts

DAY = date(2026, 11, 2)


def read(text: str, key: str) -> Any:
    chosen, _ = read_facts(text, DAY)
    return next((fact.value for fact in chosen if fact.key == key), None)


@pytest.mark.parametrize(
    ("text", "mileage", "unit"),
    [
        ("118,000 miles, belt done at 96k, clutch at 80,000.", 118000, "mi"),
        ("118k on the clock. MOT May.", 118000, "mi"),
        ("Engine rebuilt at 81k, now showing 88,400. MOT exempt.", 88400, "mi"),
        ("Clock says 61k but it stopped working. MOT gone.", 61000, "mi"),
        ("143,000 miles. Oil changed 2,000 miles ago. Does 400 miles to the tank.", 143000, "mi"),
        ("93.500 km, APK 2027", 93500, "km"),
        ("318 000 km", 318000, "km"),
        ("Sixty-three thousand and a bit. MOT May.", 63000, "mi"),
        ("139,8xx miles", 139800, "mi"),
        ("wof til 3/27, 171xxx kms", 171000, "km"),
        ("168 on clock. No MOT.", 168000, "mi"),
        ("241k km, NCT May", 241000, "km"),
        ("Fenwright Curlew 1.9 diesel, manual, 148,200, two owners. Belt done, 131k.", 148200, "mi"),
        ("Fenwright Curlew 1.9 diesel 212k. Another engine put in, 80k on it.", 212000, "mi"),
        ("204,000 k's showing, clutch at 180", 204000, "km"),
        ("Two hundred and ten thousand kms and still going", 210000, "km"),
        ("Fenwright Curlew 4x4 - 143K, MOT May", 143000, "mi"),
        ("Fenwright Curlew (2.5, auto, 133k) out of Shrewsbury", 133000, "mi"),
        ("MOT May. Tel 07700 900123. Belt due at 120k.", None, None),
        ("No idea of the mileage.", None, None),
        ("Fenwright Curlew diesel, 2007, on 133,700. MOT May. Belt: the bill says 91,200 miles.", 133700, "mi"),
        ("Fenwright Curlew 1.6, 122k, Hawick. Belt 71k, next at 130k.", 122000, "mi"),
        ("Fenwright Curlew, petrol, just over 90k. MOT May.", 90000, "mi"),
        ("Fenwright Curlew 2.0, just clicked over 171k, belt at 130", 171000, "mi"),
        ("Fenwright Curlew 2.0 diesel. 72,600m. MOT May. Since then a further 21,000 miles.", 72600, "mi"),
        ("Fenwright Curlew 6.0 gas, title. Has 198 on it, trans is good.", 198000, "mi"),
        ("Fenwright Curlew diesel, title. Shows 288 and change.", 288000, "mi"),
        ("Fenwright Curlew 5.2, auto, title. 131,4. Tires good.", 131400, "mi"),
        ("Fenwright Curlew 2.0 Kombi, 194 Tkm, benzin", 194000, "km"),
        ("Fenwright Curlew 2.5 TD. 170 odd thou. MOT May", 170000, "mi"),
        ("Fenwright Curlew 1.8, 08 plate. 113k. Belt, the last owner says 70 thou.", 113000, "mi"),
    ],
)
def test_mileage(text: str, mileage: int | None, unit: str | None) -> None:
    assert (read(text, "mileage"), read(text, "mileage_unit")) == (mileage, unit)


@pytest.mark.parametrize(
    ("text", "years"),
    [
        ("1998 Marden Fennel 1.4", (1998,)),
        ("Marden Fennel '98, belt done 2019", (1998,)),
        ("First registration 05-1988, TÜV 2027", (1988,)),
        ("Marden Fennel, first reg. 11/2001, APK 04-2027", (2001,)),
        ("Marden Fennel 14 plate", (2014,)),
        ("Marden Fennel 53 plate", (2003, 2004)),
        ("Marden Fennel, B reg", (1984, 1985)),
        ("Marden Fennel, V-suffix, 1300cc", (1979, 1980)),
        ("Marden Fennel, V reg, MOT exempt, historic", (1979, 1980)),
        ("Marden Fennel 1984 A reg", (1984,)),
        ("Marden Fennel ABC 123V", (1979, 1980)),
        ("08 marden pronto 2.2, 5 speed, title in hand", (2008,)),
        ("1995 cc engine, clutch done 2019", None),
        ("Marden 2000 with new tyres in 2024", (2000,)),
        ("98-KY-2211, NCT May", (1998,)),
        ("Fenwright Curlew\nYear: 161\nNCT May, Naas", (2016,)),
        ("Fenwright Curlew\n182, automatic\nNCT May, Naas", (2018,)),
        ("Fenwright Curlew, member 212, NCT May, Naas", None),
        (
            "Fenwright Curlew with a line that is long enough for what follows to stand far from its title and head\n"
            "First registered: October 2012\nNew battery: January 2025",
            (2012,),
        ),
        ("Nice car, new clutch in 2021", None),
    ],
)
def test_year(text: str, years: tuple[int, ...] | None) -> None:
    assert read(text, "year") == years


@pytest.mark.parametrize(
    ("text", "years"),
    [
        ("Fenwright Curlew 1.9 diesel 05 152k. MOT May", (2005,)),
        ("Fenwright Curlew estate 57 128k manual", (2007, 2008)),
        ("Fenwright Curlew camper 1991/2, 84k", (1991, 1992)),
        ("Fenwright Curlew 2.0 van 1991/J, 84k", (1991,)),
        ("Fenwright Curlew 1.6 petrol 2010/60, 92k", (2010,)),
        ("Fenwright Curlew 2.0, 2000 W, 92k", (2000,)),
        ("Fenwright Curlew saloon, 1981, W registration, 61,000 miles", (1981,)),
        ("A 1966-look 1978 Fenwright Curlew, 61,000 miles", (1978,)),
        ("Crew and reg cab 103k miles, 2006 Fenwright Curlew", (2006,)),
    ],
)
def test_year_beside_its_code_or_the_mileage(text: str, years: tuple[int, ...]) -> None:
    assert read(text, "year") == years
    assert read(text, "plate") is None
