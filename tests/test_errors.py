"""Errors reach the user as one line: where, what, what to do."""

from pipeline.errors import BuyerError, IngestError, ViewworthyError
from pipeline.paths import data_folder


def test_an_error_is_one_line_with_place_and_remedy() -> None:
    error = IngestError("the table has no column 'text'", where="vans.csv:1", remedy="Name the column 'text'.")
    assert str(error) == "vans.csv:1: the table has no column 'text'. Name the column 'text'."


def test_wrong_use_and_refused_input_leave_by_different_statuses() -> None:
    assert (BuyerError("x").exit_status, IngestError("x").exit_status) == (2, 1)


def test_a_missing_data_folder_is_an_error_for_the_user() -> None:
    try:
        data_folder("no_such_folder")
    except ViewworthyError as error:
        assert "no_such_folder" in str(error)
    else:
        raise AssertionError("no error")
