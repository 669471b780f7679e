"""What the command `viewworthy` starts: `show` is answered from the last run where nothing has changed since.

The command line's library takes longer to import than that answer takes, so that it is asked only for the rest.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from pathlib import Path

from pipeline.errors import ViewworthyError


def main() -> None:
    """Entry point of the command."""
    # Many small matrices: threads of the linear algebra library cost more than they save.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    asked = plain_show(sys.argv[1:])
    if asked is not None:
        from pipeline.shown import answer

        try:
            told = answer(*asked)
        except ViewworthyError as error:
            print(f"viewworthy: {error}", file=sys.stderr)
            sys.exit(error.exit_status)
        if told is not None:
            sys.stdout.write(told)
            return
    from pipeline.cli import main as whole

    whole()


def plain_show(arguments: Sequence[str]) -> tuple[Path, str, bool] | None:
    """Folder, vehicle and whether as JSON where the arguments are `show REF`, `--search DIR` and `--json` alone."""
    if not arguments or arguments[0] != "show":
        return None
    folder, refs, as_json = os.environ.get("VIEWWORTHY_SEARCH") or ".", [], False
    rest = iter(arguments[1:])
    for word in rest:
        if word == "--json":
            as_json = True
        elif word == "--search":
            folder = next(rest, "")
        elif word.startswith("-"):
            return None
        else:
            refs.append(word)
    return (Path(folder), refs[0], as_json) if len(refs) == 1 and folder else None


if __name__ == "__main__":
    main()
