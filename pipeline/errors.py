"""The tree of errors that reach the user: one line each, with where it went wrong and what to do."""

from __future__ import annotations


class ViewworthyError(Exception):
    """Base of all errors meant for the user. `str(error)` is the line that is printed.

    `where` names file and line, advert or rule; `remedy` says what to do about it.
    """

    exit_status = 1

    def __init__(self, what: str, *, where: str | None = None, remedy: str | None = None) -> None:
        self.what, self.where, self.remedy = what, where, remedy
        super().__init__(what)

    def __str__(self) -> str:
        line = f"{self.where}: {self.what}" if self.where else self.what
        return f"{line.rstrip('.')}. {self.remedy}" if self.remedy else line


class UsageError(ViewworthyError):
    """The command line or the search folder cannot be used as given."""

    exit_status = 2


class BuyerError(ViewworthyError):
    """buyer.toml says something that cannot be used."""

    exit_status = 2


class RuleError(ViewworthyError):
    """A rules file is wrong. `where` is file:line."""

    exit_status = 2


class IngestError(ViewworthyError):
    """A saved file, or a part of it, could not be read."""


class StoreError(ViewworthyError):
    """The database is busy, newer than this program, or damaged."""


class BusyError(StoreError):
    """Another process is at work in the search folder."""


class StageError(ViewworthyError):
    """A stage could not do its work for one advert or vehicle."""


class ModelError(ViewworthyError):
    """A trained model is missing or does not fit this program."""
