"""Common random numbers: the same for a name, evenly spread, unmoved by other names."""

import numpy as np

from pipeline.uniforms import column, columns


def test_a_column_depends_on_its_name_and_seed_only() -> None:
    alone = column("sills", 1000, 1)
    assert (columns(["floors", "sills"], 1000, 1)[:, 1] == alone).all()
    assert (column("sills", 1000, 2) != alone).any()
    assert abs(np.corrcoef(alone, column("floors", 1000, 1))[0, 1]) < 0.1


def test_each_stratum_is_hit_once() -> None:
    drawn = np.sort(column("sills", 1000, 1))
    assert (np.floor(drawn * 1000) == np.arange(1000)).all()
