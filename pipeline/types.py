"""The frozen values that cross stages. No behaviour beyond small look-ups; no imports from stages."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING, Any, Literal, Protocol

if TYPE_CHECKING:  # what only looks something up should not wait for numpy
    import numpy as np
    from numpy.typing import NDArray

Status = Literal["present", "absent", "done", "due", "possible"]
Grade = Literal["slight", "plain", "heavy"]
Purpose = Literal["original", "working", "everyday", "project"]
Verdict = Literal["travel", "ring first", "leave"]

STATUSES: tuple[Status, ...] = ("present", "absent", "done", "due", "possible")
STATES: tuple[str, ...] = ("sound", "minor", "major")  # of a part
GRADES: tuple[Grade, ...] = ("slight", "plain", "heavy")
FACT_KEYS: tuple[str, ...] = (
    "asking_price",
    "currency",
    "price_terms",
    "mileage",
    "mileage_unit",
    "year",
    "fuel",
    "engine_litres",
    "gearbox",
    "owners",
    "test_state",
    "test_expiry",
    "service_history",
    "plate",
    "vin",
)
MILES_PER_KM = 1 / 1.609344  # international mile, exact by definition (1959)


# ---- ingest ---------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class SourceFile:
    """Bytes the buyer saved, before anything is made of them."""

    name: str  # path relative to the inbox, or "standard input"
    data: bytes
    sha256: str
    modified: date | None = None


@dataclass(frozen=True, slots=True)
class StatedValue:
    """A value that came beside the text: page metadata or a table column."""

    key: str  # a fact key, or place, distance_miles, seller, body, ...
    value: Any
    origin: str  # "schema.org mileageFromOdometer", "column price"


@dataclass(frozen=True, slots=True)
class Advert:
    """One advert as a reader found it: its own text and what was stated beside it."""

    advert_id: str  # stable: the given id, else the page's address, else file name (#part)
    text: str
    source: str  # file name, with #part where a file holds several
    raw_sha256: str
    reader: str
    title: str | None = None
    saved_on: date | None = None  # None: the run's day is used
    url: str | None = None
    seller: str | None = None
    place: str | None = None
    distance_miles: float | None = None
    stated: tuple[StatedValue, ...] = ()


@dataclass(frozen=True, slots=True)
class Refusal:
    """Something that could not be read. It is kept and reported."""

    source: str
    reason: str  # one line: what was wrong and what to do
    line: int | None = None
    raw_sha256: str | None = None


@dataclass(frozen=True, slots=True)
class Ingested:
    adverts: tuple[Advert, ...]
    refusals: tuple[Refusal, ...]


@dataclass(frozen=True, slots=True)
class Snapshot:
    """An advert's text on one day, as stored."""

    snapshot_id: int
    advert: Advert
    saved_on: date
    text_sha256: str
    first_seen: date
    last_seen: date


# ---- nlp ------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Fact:
    """A value that the advert states. `start`/`end`: character offsets in the text, -1 when it came from metadata."""

    key: str
    value: Any
    quote: str
    start: int
    end: int
    rule: str  # id of the rule or model that made it
    confidence: float = 1.0
    origin: str = "text"


@dataclass(frozen=True, slots=True)
class Claim:
    """What the advert says of one subject (see the annotation guide's subject codes and statuses)."""

    subject: str
    status: Status
    grade: Grade
    quote: str
    start: int
    end: int
    rule: str
    at_mileage: int | None = None
    at_year: int | None = None
    confidence: float = 1.0
    detail: str | None = None  # the part named, where the rule knows it ("rear crossmember")
    origin: str = "advert"  # or where the buyer heard it: "call", "viewing", "papers"; "correction"


@dataclass(frozen=True, slots=True)
class Reading:
    """All that was read of one text. `facts` holds the chosen value per key first, then rejected rivals."""

    facts: tuple[Fact, ...]
    claims: tuple[Claim, ...]
    rivals: tuple[Fact, ...] = ()  # candidates that lost, or metadata that disagrees; shown, never lost

    def fact(self, key: str) -> Any:
        """The chosen value of a fact, or None when the advert is silent."""
        return next((f.value for f in self.facts if f.key == key), None)


# ---- the buyer --------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Buyer:
    """One buyer's needs and terms, completed from the region's defaults. Money in `currency`."""

    home: str
    purpose: Purpose
    currency: str
    region: str
    labour_rate: float  # an hour
    travel_cost_per_mile: float
    time_value_per_hour: float
    does_own_work: bool = False
    budget_total: float | None = None
    guide_price: float | None = None
    outside_option: float | None = None  # surplus a buyer can have elsewhere; None: from the rules and the pool
    home_position: tuple[float, float] | None = None  # latitude, longitude in degrees
    packs: tuple[str, ...] = ("general",)
    must: Mapping[str, tuple[Any, ...]] = field(default_factory=dict)  # fact key -> values that will do
    as_of: date | None = None
    search_name: str = ""
    budget_is_hard: bool = False
    risk: Literal["mean", "worst_quarter"] = "mean"
    units: Literal["mi", "km"] = "mi"  # distances are told in these
    rates: Mapping[str, float] = field(default_factory=dict)  # other currency -> units of `currency` for one of it


# ---- what the buyer records ---------------------------------------------------

Learnt = Literal["call", "viewing", "papers", "reading"]  # "reading": the buyer read the advert better
Fate = Literal["", "bought", "sold", "gone"]
ADVERT_ORIGINS = ("advert", "correction")  # of claims that an advert itself makes
FATES: tuple[Fate, ...] = ("", "bought", "sold", "gone")


@dataclass(frozen=True, slots=True)
class Finding:
    """A state seen with one's own eyes. `about`: the item or subject named; `items`: what it was taken to mean."""

    about: str
    state: Literal["sound", "minor", "major"]
    items: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class FactCorrection:
    """What an advert really states of a fact; None: nothing. `was` and `quote`: what had been read."""

    advert_id: str
    key: str
    value: Any
    was: Any = None
    quote: str = ""


@dataclass(frozen=True, slots=True)
class ClaimCorrection:
    """What an advert really says of a subject; `claim` None: nothing.

    `instead_of`: the status that had been read, None for all that was read under the subject, "" for nothing.
    `quote`: the words that had been read so; empty where none had.
    """

    advert_id: str
    subject: str
    claim: Claim | None
    instead_of: str | None = None
    quote: str = ""


@dataclass(frozen=True, slots=True)
class Note:
    """What the buyer recorded at one time of one vehicle. It hangs on an advert, for vehicles are only linked adverts.

    Money in the buyer's currency. `number` 0: not stored yet.
    """

    number: int
    advert_id: str
    day: date
    learnt: Learnt
    text: str = ""
    findings: tuple[Finding, ...] = ()
    answers: tuple[Claim, ...] = ()
    facts: Mapping[str, Any] = field(default_factory=dict)
    photos: tuple[str, ...] = ()
    price_agreed: float | None = None
    price_refused: float | None = None  # an offer that the seller refused
    no_less: bool = False  # the seller takes the asking price or nothing
    fate: Fate = ""
    fact_corrections: tuple[FactCorrection, ...] = ()
    claim_corrections: tuple[ClaimCorrection, ...] = ()
    undone: bool = False


@dataclass(frozen=True, slots=True)
class Member:
    """Somebody whom a club's adviser advises."""

    key: str  # the file's name without its ending
    name: str
    note: str = ""  # the adviser's words for them: on their page
    adviser_note: str = ""  # the adviser's own: in the summary only


# ---- costing --------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Evidence:
    """What is known of one vehicle when its repair cost is worked out."""

    ref: str
    facts: Mapping[str, Any]  # fact key -> chosen value
    claims: tuple[Claim, ...]
    age_years: float | None
    mileage_miles: float | None
    as_of: date
    text_words: int = 0  # how much the seller wrote: silence in a long text says more
    findings: Mapping[str, str] = field(default_factory=dict)  # fault or subject -> state seen at a viewing
    doubts: Mapping[str, str] = field(default_factory=dict)  # check id -> what in the saved file does not agree
    passages: Mapping[str, str] = field(default_factory=dict)  # subject -> what the advert goes on to say after it


@dataclass(frozen=True, slots=True)
class Outcome:
    """How one fault or service of one vehicle really was: what a viewing, a garage or a sheet of a test found.

    `years`, `miles`: exposure of the part when it was found, since new or since its last renewal. `before`: what was
    believed of (sound, minor, major) before it was found; a buyer goes to see the promising ones, and what their
    adverts promised is no news about wear.
    """

    item: str  # fault or service id
    state: Literal["sound", "minor", "major"]  # an overdue service is minor
    years: float | None = None
    miles: float | None = None
    before: tuple[float, float, float] | None = None


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a number stands where it stands: a short sentence, the rule that made it, the quote that moved it."""

    text: str
    rule: str
    quote: str = ""


@dataclass(frozen=True, slots=True)
class ItemBelief:
    """Belief about one fault or one scheduled service, and what it is expected to cost (buyer's currency)."""

    item: str  # fault or service id
    name: str
    group: str  # structure, engine, drivetrain, running gear, electrics, interior, service, ...
    kind: Literal["fault", "service"]
    sound: float
    minor: float
    major: float
    expected_cost: float
    admitted: bool  # the advert itself says that the work is needed
    subjects: tuple[str, ...]  # subjects of the guide that speak of it
    seen_on_viewing: float  # chance that a viewing shows its state
    reasons: tuple[Reason, ...] = ()


@dataclass(frozen=True, slots=True)
class Draws:
    """An array of (samples, items) of which only what is not nought is kept: about a twentieth.

    Entries stand item after item, samples rising within each.
    """

    samples: int
    counts: NDArray[np.integer[Any]]  # (items,): how many samples of each item are not nought
    rows: NDArray[np.integer[Any]]  # (entries,): which samples
    amounts: NDArray[np.floating[Any]]  # (entries,): and what they are

    @staticmethod
    def of(array: NDArray[np.floating[Any]]) -> Draws:
        """An array packed."""
        import numpy as np

        samples = len(array)
        columns = np.ascontiguousarray(array.T).ravel()
        places = np.flatnonzero(columns)
        counts = np.bincount(places // samples, minlength=array.shape[1])
        return Draws(samples, counts, places % samples, columns[places])

    @property
    def edges(self) -> NDArray[np.int64]:
        """(items + 1,): where each item's entries begin and end."""
        import numpy as np

        return np.concatenate([[0], np.cumsum(self.counts, dtype=np.int64)])

    def items(self) -> NDArray[np.int64]:
        """(entries,): which item each entry is of."""
        import numpy as np

        return np.repeat(np.arange(len(self.counts)), self.counts)

    def dense(self) -> NDArray[Any]:
        """The array itself, each item's samples side by side in memory."""
        import numpy as np

        columns = np.zeros(len(self.counts) * self.samples, self.amounts.dtype)
        columns[self.items() * self.samples + self.rows] = self.amounts
        return columns.reshape(len(self.counts), self.samples).T

    def total(self) -> NDArray[np.float64]:
        """Sum over the items in their order, (samples,)."""
        import numpy as np

        return np.asarray(np.bincount(self.rows, self.amounts, self.samples), np.float64)

    def packed(self) -> Draws:
        """The same in as little memory as it can be kept in: single precision, short numbers."""
        import numpy as np

        if self.amounts.dtype == np.float32 and self.rows.dtype == small(self.samples):
            return self
        amounts = self.amounts.astype(np.float32)
        there, rows, counts = amounts != 0, self.rows, self.counts
        if not there.all():
            rows, amounts = rows[there], amounts[there]
            counts = np.bincount(self.items()[there], minlength=len(counts))
        return Draws(self.samples, counts.astype(np.int32), rows.astype(small(self.samples)), amounts)


def small(samples: int) -> str:
    """The shortest type that numbers samples."""
    return "uint16" if samples <= 1 << 16 else "uint32"


class Elsewhere(Protocol):
    """Item costs that are not in memory."""

    def draws(self) -> Draws: ...


@dataclass(frozen=True, slots=True)
class Sensitive:
    """A number of the rules and what the mean repair cost would be with it divided (`low`), multiplied by `factor`."""

    what: str
    rule: str  # file and entry
    source: str
    factor: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class RepairEstimate:
    """Distribution of first-year repair cost of one vehicle, buyer's currency.

    `item_costs[s, i]` is the cost of item i in sample s, shared access already apportioned; rows use common
    random numbers, so that sample s of two vehicles differs only by their evidence.
    """

    ref: str
    items: Sequence[ItemBelief]
    drawn: NDArray[np.float32] | Draws | Elsewhere  # item costs as an array, packed, or where they are
    roots: Mapping[str, Mapping[str, float]]  # care/hard_use/stood -> state -> probability
    admitted_mean: float
    unsaid_mean: float
    assumptions: tuple[Reason, ...] = ()
    contradictions: tuple[str, ...] = ()
    sensitive: tuple[Sensitive, ...] = ()  # the numbers that move the mean most
    cautions: tuple[Reason, ...] = ()  # for a buyer who does their own work

    @property
    def item_costs(self) -> NDArray[np.float32]:
        """Shape (samples, items); unpacked anew at each use."""
        import numpy as np

        return self.drawn if isinstance(self.drawn, np.ndarray) else self.draws.dense()

    @property
    def draws(self) -> Draws:
        """The same packed; read anew at each use where it is not in memory."""
        import numpy as np

        if isinstance(self.drawn, np.ndarray):
            return Draws.of(self.drawn)
        return self.drawn if isinstance(self.drawn, Draws) else self.drawn.draws()

    @property
    def samples(self) -> NDArray[np.float64]:
        """Total repair cost, shape (samples,)."""
        return self.draws.total()


# ---- valuation --------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Comparable:
    """One vehicle as the value model sees it. Money in the buyer's currency."""

    ref: str
    asking_price: float | None
    price_terms: str | None
    year: float | None  # middle of the acceptable years
    mileage_miles: float | None
    fuel: str | None
    engine_litres: float | None
    gearbox: str | None
    service_history: str | None
    test_months_left: float | None  # 0 when expired or none, None when not said
    disclosed_repair: float  # expected cost of what the advert admits
    seller_kind: Literal["private", "trade", "auction"] = "private"
    modified: bool = False
    written_off: bool = False
    owners: int | None = None
    kept: bool = True  # False: too odd to learn from (flagged price, scam), still valued
    traits: tuple[str, ...] = ()  # pack-defined specification words found


@dataclass(frozen=True, slots=True)
class Valuation:
    """Sound value of one vehicle: log-normal around `median`, buyer's currency; None throughout when unknown."""

    ref: str
    mean: float | None
    p10: float | None
    p50: float | None
    p90: float | None
    log_mean: float | None
    log_sd: float | None
    basis: Literal["pool", "prior", "guide", "none"]
    comparables: int
    reasons: tuple[Reason, ...] = ()
    flags: tuple[str, ...] = ()  # price_far_below, price_typo, mileage_typo, ...
    expected_price: float | None = None  # what a deal is expected to be struck at


# ---- ranking --------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Prospect:
    """Everything ranking needs of one vehicle."""

    ref: str
    advert_ids: tuple[str, ...]
    title: str
    evidence: Evidence
    repair: RepairEstimate
    valuation: Valuation
    asking_price: float | None  # buyer's currency
    currency: str
    distance_miles: float | None
    place: str | None
    refused_price: str | None = None  # why an asking price could not be used
    agreed_price: float | None = None  # struck with the seller, as the buyer recorded it
    least_price: float | None = None  # more than an offer that the seller refused


@dataclass(frozen=True, slots=True)
class Flag:
    """A red flag: what it is, why it stands, what to verify and where before travelling."""

    code: str
    text: str
    verify: str
    disqualifies: bool
    quote: str = ""
    rule: str = ""


@dataclass(frozen=True, slots=True)
class Question:
    """A question for the call, with what its answer is expected to be worth (buyer's currency)."""

    text: str
    subjects: tuple[str, ...]
    worth: float
    rule: str


@dataclass(frozen=True, slots=True)
class Spread:
    """Summary of a distribution of money."""

    mean: float
    p10: float
    p50: float
    p90: float

    @staticmethod
    def of(samples: NDArray[np.floating[Any]]) -> Spread:
        """Mean and 10/50/90 % points of samples, shape (n,)."""
        import numpy as np

        in_order = np.sort(samples)
        points = []
        for share in (0.1, 0.5, 0.9):  # between neighbours in proportion, as numpy.percentile does, which is slower
            at = share * (len(in_order) - 1)
            below = int(at)
            one, next_ = float(in_order[below]), float(in_order[min(below + 1, len(in_order) - 1)])
            points.append(one + (next_ - one) * (at - below))
        return Spread(float(np.mean(samples)), *points)


@dataclass(frozen=True, slots=True)
class Ranked:
    """One row of the ranking. `visit_worth` None: it could not be valued; `reasons` say why."""

    ref: str
    verdict: Verdict
    visit_worth: float | None
    visit_cost: float | None
    surplus: Spread | None
    sound_value: Spread | None
    repair_cost: Spread
    price_to_pay: float | None  # what the surplus assumes is paid
    flags: tuple[Flag, ...]
    reasons: tuple[Reason, ...]
    questions: tuple[Question, ...]
    walk_away: float | None = None
    changes: tuple[str, ...] = ()  # what would change the verdict
    opening_offer: float | None = None
    settling_price: float | None = None
    price_reasons: tuple[Reason, ...] = ()  # the sentences that justify the three prices
    price_after: tuple[PriceAfter, ...] = ()  # what a finding at the viewing would make of them


@dataclass(frozen=True, slots=True)
class PriceAfter:
    """The price once an item was found bad (with what it makes likelier), buyer's currency."""

    what: str
    item: str
    settling: float
    walk_away: float


# ---- report -----------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class PricePoint:
    day: date
    price: float | None
    currency: str | None
    what: str = ""


@dataclass(frozen=True, slots=True)
class VehicleView:
    """One vehicle as the report shows it."""

    ref: str
    title: str
    ranked: Ranked
    prospect: Prospect
    texts: tuple[AdvertView, ...]
    prices: tuple[PricePoint, ...]
    silent_on: tuple[str, ...]
    gone: bool = False
    notes: tuple[Note, ...] = ()  # what the buyer recorded, oldest first, undone ones too
    fate: Fate = ""
    places: tuple[tuple[int, int], ...] = ()  # with each of `repair.sensitive` divided, multiplied


@dataclass(frozen=True, slots=True)
class AdvertView:
    """One advert of a vehicle: its newest text with what was read in it."""

    advert_id: str
    source: str
    saved_on: date
    text: str
    reading: Reading
    url: str | None = None
    linked_because: str = ""


@dataclass(frozen=True, slots=True)
class PassedOver:
    """A vehicle of a large search that a quick look found to be none of the best, so that it was not worked out.

    `worth`: about what it is worth to the buyer as it stands, sound value less expected repairs; None without a price
    to set it against.
    """

    ref: str
    title: str
    adverts: tuple[tuple[str, str], ...]  # (advert id, source) of each
    asking_price: float | None
    worth: float | None
    why: str


@dataclass(frozen=True, slots=True)
class ReportView:
    """All that the page and the table show. Vehicles best first."""

    as_of: date
    buyer: Buyer
    vehicles: tuple[VehicleView, ...]
    refusals: tuple[Refusal, ...]
    changes: tuple[str, ...]  # since the last run, sentences
    assumptions: tuple[Reason, ...]
    cautions: tuple[str, ...]
    counts: Mapping[str, int] = field(default_factory=dict)
    subject_names: Mapping[str, str] = field(default_factory=dict)
    apart: tuple[VehicleView, ...] = ()  # bought, sold or gone by the buyer's own record: kept, not ranked
    passed_over: Sequence[PassedOver] = ()  # of a large search, the likelier first


@dataclass(frozen=True, slots=True)
class MemberView:
    """What one member's page shows: their best few of the pool, exactly reckoned at their own terms."""

    member: Member
    view: ReportView
    changes: tuple[str, ...] = ()  # where none is worth a visit: what would change that


@dataclass(frozen=True, slots=True)
class AdviserView:
    """What the adviser's summary shows."""

    as_of: date
    pool: str
    vehicles: int
    members: tuple[MemberView, ...]
    refusals: tuple[Refusal, ...] = ()
