"""One vehicle in full for a terminal."""

from pipeline.report import vehicle_text
from pipeline.types import ReportView


def test_every_figure_and_quote_is_there_within_the_width(report_view: ReportView) -> None:
    for vehicle in report_view.vehicles:
        text = vehicle_text(vehicle, 90)
        assert all(len(line) <= 90 or " " not in line.strip() for line in text.splitlines())
        flat = " ".join(text.split())
        assert vehicle.ranked.verdict in flat
        for advert in vehicle.texts:
            for claim in advert.reading.claims:
                assert claim.rule in flat
        for flag in vehicle.ranked.flags:
            assert " ".join(flag.verify.split()) in flat


def test_no_control_character_reaches_the_terminal(report_view: ReportView) -> None:
    for vehicle in report_view.vehicles:
        assert not [c for c in vehicle_text(vehicle, 60) if ord(c) < 32 and c != "\n"]
        assert "\x1b" not in vehicle_text(vehicle, 60)
