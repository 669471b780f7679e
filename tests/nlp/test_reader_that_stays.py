"""A reader that stays holds its rules and weights where the garbage collector does not look at them at every round."""

import subprocess
import sys

READS = """
import gc
from datetime import date
from pipeline.nlp.advert import AdvertReader
from pipeline.paths import data_folder
reader = AdvertReader.to_stay(data_folder("rules"))
before = len(gc.get_objects())
reader.read("1996 Marrick Dale, 2.4 diesel, 98,000 miles, MOT June, sills welded. £4,200 ono.", date(2026, 10, 1))
print(before, len(gc.get_objects()))
"""


def test_reading_makes_little_that_stays() -> None:
    told = subprocess.run([sys.executable, "-c", READS], capture_output=True, text=True, check=True).stdout
    before, after = map(int, told.split())
    assert before < 1_000  # all that is held is out of the collector's sight
    assert after - before < 50_000  # without a first text read before, it was 630,000
