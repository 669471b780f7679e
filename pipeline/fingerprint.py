"""Whether files are what they were."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from pathlib import Path


def fingerprint(paths: Iterable[Path]) -> str:
    """SHA-256 over names and contents of files and folders, for deciding what must be read again."""
    digest = hashlib.sha256()
    for root in paths:
        files: Sequence[Path] = sorted(p for p in root.rglob("*") if p.is_file()) if root.is_dir() else [root]
        for path in files:
            if path.name.startswith(".") or "__pycache__" in path.parts:
                continue
            digest.update(path.name.encode() + b"\0" + hashlib.sha256(path.read_bytes()).digest())
    return digest.hexdigest()[:16]
