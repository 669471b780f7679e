"""How parts wear and bring about other faults, and three-point estimates."""

from __future__ import annotations

from typing import Annotated, Any, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, model_validator

from pipeline.rules import RuleId, RuleModel
from pipeline.schemas.evidence import Chance
from pipeline.schemas.region import Positive

Bad = Literal["minor", "major"]


class ThreePoint(RuleModel):
    """Least, most likely, most: hours or money."""

    low: Annotated[float, Field(ge=0)]
    mode: Annotated[float, Field(ge=0)]
    high: Annotated[float, Field(ge=0)]

    @model_validator(mode="before")
    @classmethod
    def _from_list(cls, value: Any) -> Any:
        if isinstance(value, (list, tuple)) and len(value) == 3:
            return dict(zip(("low", "mode", "high"), value, strict=True))
        return value

    @model_validator(mode="after")
    def _ordered(self) -> ThreePoint:
        if not self.low <= self.mode <= self.high:
            raise ValueError("the three points are not in order")
        return self

    @property
    def mean(self) -> float:
        """Mean of the beta-PERT distribution, (a + 4m + b) / 6 (Malcolm et al. 1959)."""
        return (self.low + 4 * self.mode + self.high) / 6


class Life(RuleModel):
    """Weibull life: scale (63.2 % have gone by then) and shape. `cap`: exposure counts at most so far, because a part
    that old has usually been mended once."""

    life: Positive
    shape: Positive
    cap: Positive | None = None

    def exposure(self, since: NDArray[np.float64] | float) -> NDArray[np.float64]:
        """What counts of the years or miles since new or renewed, shape of `since`."""
        return np.asarray(np.clip(since, 0.0, self.cap))


class Built(RuleModel):
    """Vehicles built in these years: how many times as fast they wear (better steel, a mended design)."""

    years: tuple[int, int]
    pace: Annotated[float, Field(ge=0)]


class Wear(RuleModel):
    """Chance that work is needed now or within the year.

    `minor` comes at the Weibull life in years or in miles, whichever is first; `major` at `major_ratio` times that
    life. `leak`: chances of minor and major whatever age and miles.
    """

    years: Life | None = None
    miles: Life | None = None
    major_ratio: Annotated[float, Field(ge=1)]
    leak: tuple[Chance, Chance] = (0.0, 0.0)
    built: tuple[Built, ...] = ()

    def pace(self, year_built: int | None) -> float:
        """Factor on the exposure by year of building."""
        result = 1.0
        for built in self.built:
            if year_built is not None and built.years[0] <= year_built <= built.years[1]:
                result *= built.pace
        return result


class Cause(RuleModel):
    """A parent fault in state `when` alone brings about minor or major with these chances (noisy-MAX)."""

    fault: RuleId
    when: Bad
    minor: Chance
    major: Chance

    @model_validator(mode="after")
    def _at_most_one(self) -> Cause:
        if self.minor + self.major > 1:
            raise ValueError("minor and major together exceed 1")
        return self


class Feeds(RuleModel):
    """Neglect of a service alone brings about a fault with these chances (noisy-MAX)."""

    fault: RuleId
    minor: Chance
    major: Chance
