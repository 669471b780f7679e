"""What must hold of knowledge as a whole. Each check raises RuleError at the file and line that is wrong."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from graphlib import CycleError, TopologicalSorter

from pipeline.errors import RuleError
from pipeline.rules import rule_error
from pipeline.schemas.evidence import ReportTable
from pipeline.schemas.knowledge_parts import Fault, Knowledge, Service
from pipeline.types import GRADES, STATES

SERVICE_STATES = ("kept", "overdue")
CARE = "care"
ROOTS = {CARE: {"good", "average", "poor"}, "hard_use": {"no", "yes"}, "stood": {"no", "yes"}}


def check_knowledge(knowledge: Knowledge, subjects: Sequence[str]) -> None:
    """All checks. `subjects`: every code that an advert can speak of."""
    for root, states in ROOTS.items():
        if root not in knowledge.roots or set(knowledge.roots[root].prior) != states:
            names = ", ".join(sorted(states))
            raise RuleError(f"there must be a root {root!r} with the states {names}", where="rules/packs/general")
    _check_references(knowledge)
    _check_jobs(knowledge)
    fault_order(knowledge)
    _check_tables(knowledge)
    _check_subjects(knowledge, subjects)


def fault_order(knowledge: Knowledge) -> tuple[str, ...]:
    """Fault ids, causes before what they bring about. Raises RuleError when causes go round in a circle."""
    graph = {key: {cause.fault for cause in fault.causes} for key, fault in knowledge.faults.items()}
    try:
        return tuple(TopologicalSorter(graph).static_order())
    except CycleError as error:
        circle = error.args[1]
        raise _at(knowledge, "faults", circle[0], f"causes go round: {' -> '.join(circle)}", "Cut one link.") from error


def _at(knowledge: Knowledge, section: str, key: str, what: str, remedy: str | None = None) -> RuleError:
    place = knowledge.places.get((section, key))
    if place is None:
        return RuleError(f"{key}: {what}", where=section, remedy=remedy)
    return rule_error(place.label, place.path, place.location, f"{key}: {what}", remedy)


def _known(knowledge: Knowledge, section: str, key: str, kind: str, names: Iterable[str], known: Iterable[str]) -> None:
    known = set(known)
    for name in names:
        if name not in known:
            raise _at(knowledge, section, key, f"unknown {kind} {name!r}", "Add it, or correct the name.")


def _check_references(knowledge: Knowledge) -> None:
    roots = {name: set(root.prior) for name, root in knowledge.roots.items()}
    care = roots[CARE]
    for name, root in knowledge.roots.items():
        _known(knowledge, "roots", name, "fact table", root.facts, knowledge.fact_tables)
        _known(knowledge, "roots", name, "report table", (c.table for c in root.claims), knowledge.tables)
        for table in [knowledge.fact_tables[f].rows for f in root.facts]:
            if set(table) != roots[name]:
                raise _at(knowledge, "roots", name, "a fact table's rows are not its states")
        for claim in root.claims:
            if not roots[name] <= set(knowledge.tables[claim.table].rows):
                raise _at(knowledge, "roots", name, f"the rows of table {claim.table!r} are not its states")
    for name, fault in knowledge.faults.items():
        _known(knowledge, "faults", name, "fault", (cause.fault for cause in fault.causes), knowledge.faults)
        _known(knowledge, "faults", name, "root", fault.roots, roots)
        for root_name, factors in fault.roots.items():
            _known(knowledge, "faults", name, f"state of {root_name}", factors, roots[root_name])
        _check_item(knowledge, "faults", fault, STATES, care)
    for name, service in knowledge.services.items():
        _known(knowledge, "services", name, "fault", (feeds.fault for feeds in service.feeds), knowledge.faults)
        if set(service.overdue) != care:
            raise _at(knowledge, "services", name, f"overdue: give a chance for each of {', '.join(sorted(care))}")
        _check_item(knowledge, "services", service, SERVICE_STATES, care)


def _check_item(
    knowledge: Knowledge, section: str, item: Fault | Service, states: Sequence[str], care: set[str]
) -> None:
    if set(item.trust) != care:
        raise _at(knowledge, section, item.id, f"trust: give a chance for each of {', '.join(sorted(care))}")
    _known(knowledge, section, item.id, "report table", (link.table for link in item.speaks), knowledge.tables)
    _known(
        knowledge, section, item.id, "report table",
        (link.persists.table for link in item.speaks if link.persists and link.persists.table), knowledge.tables,
    )  # fmt: skip
    for link in item.speaks:
        rows = knowledge.tables[link.table].rows
        if missing := [row for row in (*states, "base") if row not in rows]:
            raise _at(knowledge, section, item.id, f"table {link.table!r} has no row {missing[0]!r}")
    if len({link.subject for link in item.speaks}) != len(item.speaks):
        raise _at(knowledge, section, item.id, "a subject stands twice under speaks", "Keep one.")


def _check_jobs(knowledge: Knowledge) -> None:
    scarcity = {item.id for item in knowledge.money.scarcity}
    currencies = {knowledge.money.base, *knowledge.money.rates}
    for name, fault in knowledge.faults.items():
        _known(knowledge, "faults", name, "job", [*fault.jobs.minor, *fault.jobs.major], knowledge.jobs)
    for name, service in knowledge.services.items():
        _known(knowledge, "services", name, "job", [service.job], knowledge.jobs)
    for name, assembly in knowledge.assemblies.items():
        _known(knowledge, "assemblies", name, "job", [assembly.job], knowledge.jobs)
        _known(knowledge, "assemblies", name, "fault", assembly.faults, knowledge.faults)
    for name, job in knowledge.jobs.items():
        _known(knowledge, "jobs", name, "access", job.access, knowledge.access)
        _known(knowledge, "jobs", name, "class of scarcity", [job.scarcity], scarcity)
        _known(knowledge, "jobs", name, "currency", [job.currency], currencies)
        for region in knowledge.regions.values():
            if region.currency not in currencies:
                raise _at(knowledge, "jobs", name, f"region {region.id!r} has no rate for {region.currency}")
            if job.hours.mean * region.labour.usual + knowledge.parts(job, region).mean <= 0:
                raise _at(knowledge, "jobs", name, f"it costs nothing in region {region.id!r}", "Give hours or parts.")


def _check_tables(knowledge: Knowledge) -> None:
    """Every cell above nought; an admission never speaks for soundness, a denial never against it, silence between."""
    for name, table in knowledge.tables.items():
        for state in table.rows:
            if any(value <= 0 for value in table.cells(state).values()):
                raise _at(knowledge, "tables", name, f"row {state} has a chance of nought", "Nothing is impossible.")
        for good, bad in (("sound", "minor"), ("sound", "major"), ("kept", "overdue")):
            if good in table.rows and bad in table.rows:
                _check_order(knowledge, table, good, bad)


def _check_order(knowledge: Knowledge, table: ReportTable, good: str, bad: str) -> None:
    def factor(status: str, grade: str) -> float:
        return table.chance(bad, status, grade) / table.chance(good, status, grade)

    silence = table.chance(bad, "silence") / table.chance(good, "silence")
    cells = {status for status, _ in table.cells(good)} & {status for status, _ in table.cells(bad)}
    for grade in GRADES:
        for status in cells & {"present", "due", "possible"}:
            if factor(status, grade) < silence * (1 - 1e-9):
                what = f"{status} ({grade}) speaks less for {bad} than silence does"
                raise _at(knowledge, "tables", table.id, what, "An admission never lowers a belief.")
        if "absent" in cells and factor("absent", grade) > silence * (1 + 1e-9):
            what = f"absent ({grade}) speaks more for {bad} than silence does"
            raise _at(knowledge, "tables", table.id, what, "Silence is never better than a denial.")
        if "done" in cells and not table.doubtful_done and factor("done", grade) > silence * (1 + 1e-9):
            what = f"done ({grade}) speaks more for {bad} than silence does"
            raise _at(knowledge, "tables", table.id, what, "If work done is a doubt here, say doubtful_done: true.")


def _check_subjects(knowledge: Knowledge, subjects: Sequence[str]) -> None:
    spoken = {link.subject for fault in knowledge.faults.values() for link in fault.speaks}
    spoken |= {link.subject for service in knowledge.services.values() for link in service.speaks}
    spoken |= {claim.subject for root in knowledge.roots.values() for claim in root.claims}
    for subject in subjects:
        if subject not in spoken and subject not in knowledge.no_belief:
            raise RuleError(
                f"the subject {subject!r} bears on no fault, service or root",
                where="rules/reports",
                remedy="Let a fault speak of it, or say under no_belief why not.",
            )
    for subject in sorted(spoken | set(knowledge.no_belief) | set(knowledge.unproven.subjects)):
        if subject not in subjects:
            raise RuleError(
                f"unknown subject {subject!r}", where="rules/packs", remedy="rules/subjects.yaml lists them."
            )
        if subject in spoken and subject in knowledge.no_belief:
            raise RuleError(f"{subject!r} bears on belief and stands under no_belief", where="rules/reports")
