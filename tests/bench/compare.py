"""Minutes and checks until the cure is known: the program, the cheapest order there is, a printed one, half-splitting.

Run: python -m tests.bench.compare [--circuit NAME] [--jobs N] [--tables]

Every fault is complained of as a fitter would; then each order is followed with certain answers, and the
program plays the whole job. One model of minutes for all: a step's own, walking, starting the engine, a
control propped, a caution read once.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from diag.reason.belief import Posterior
from diag.reason.choose import Situation, StepTable, minutes_of
from diag.reason.reasoner import Reasoner
from diag.reason.steps import Step
from tests.bench.optimal import cost_bound, entropy_bits
from tests.bench.orders import FEEDS, along_the_feed, as_printed, one_sheet
from tests.bench.played import Job
from tests.bench.trials import Garage, Task, progress, run

__all__ = [
    "Cost",
    "Group",
    "Suspects",
    "cheapest_order",
    "followed",
    "followed_to_the_letter",
    "half_split",
    "main",
    "printed",
    "programs",
]

_MOST = 10
"""Groups of causes that all orders of checks are thought through for."""
_BEGIN = Situation("driver-seat", frozenset(), frozenset())


@dataclass(frozen=True)
class Group:
    """Causes that no check tells apart: their prior, and the remedies that cure them."""

    causes: tuple[str, ...]
    prior: float
    cure: frozenset[str]


@dataclass(frozen=True)
class Cost:
    """Checks and minutes until the cure is known."""

    checks: float
    minutes: float


Places = tuple[int, ...]
Order = Callable[["Suspects", Places, Situation], int]
"""The next check, by its number, for those groups still suspected."""


@dataclass(frozen=True)
class Suspects:
    """Groups that one complaint leaves, checks that tell some of them apart, and the answer of each group to
    each check (groups, checks)."""

    complaint: str
    groups: tuple[Group, ...]
    steps: tuple[Step, ...]
    answers: np.ndarray

    @staticmethod
    def of(complaint: str, causes: Mapping[str, float], cure: Mapping[str, str], reasoner: Reasoner) -> Suspects:
        """`causes`: prior of each. The answer to a check is the likeliest one of the program's table."""
        names = list(causes)
        rows = [1 + reasoner.index[name] for name in names]
        steps, columns = [], []
        for step in reasoner.steps.values():
            if not reasoner.chances.computed(step):
                continue
            given = reasoner.chances.table(step)[rows].argmax(axis=1)
            if (given != given[0]).any():
                steps.append(step)
                columns.append(given)
        answers = np.stack(columns, axis=1) if columns else np.zeros((len(names), 0), dtype=int)
        alike: dict[bytes, list[int]] = {}
        for row, given in enumerate(answers):
            alike.setdefault(given.tobytes(), []).append(row)
        groups = tuple(
            Group(
                tuple(names[i] for i in found),
                sum(causes[names[i]] for i in found),
                frozenset(cure[names[i]] for i in found),
            )
            for found in alike.values()
        )
        return Suspects(complaint, groups, tuple(steps), answers[[found[0] for found in alike.values()]])

    def heaviest(self, most: int) -> Suspects:
        """The same with the most likely groups alone."""
        kept = sorted(np.argsort([-group.prior for group in self.groups], kind="stable")[:most].tolist())
        answers = self.answers[kept]
        telling = [i for i in range(len(self.steps)) if (answers[:, i] != answers[0, i]).any()]
        groups, steps = tuple(self.groups[i] for i in kept), tuple(self.steps[i] for i in telling)
        return Suspects(self.complaint, groups, steps, answers[:, telling])

    def known(self, left: Places) -> bool:
        """Whether all that is left is cured alike."""
        return len({self.groups[i].cure for i in left}) <= 1

    def parts(self, left: Places, check: int) -> list[Places]:
        """Those left, by the answer that they give."""
        found: dict[int, list[int]] = {}
        for i in left:
            found.setdefault(int(self.answers[i, check]), []).append(i)
        return [tuple(part) for part in found.values()]

    def tells(self, left: Places, check: int) -> bool:
        """Whether any two of them answer differently."""
        column = self.answers[list(left), check]
        return bool((column != column[0]).any())


def _after(situation: Situation, step: Step) -> Situation:
    known = situation.acknowledged | ({step.caution} if step.caution is not None else frozenset())
    return replace(situation, place=step.place, acknowledged=known)


def followed(suspects: Suspects, order: Order) -> list[Cost]:
    """What an order costs, group by group. Raises AssertionError where it asks what tells nothing."""
    whole = tuple(range(len(suspects.groups)))
    found = followed_from(suspects, order, whole, _BEGIN, Cost(0.0, 0.0))
    return [found[i] for i in whole]


def followed_from(suspects: Suspects, order: Order, left: Places, situation: Situation, cost: Cost) -> dict[int, Cost]:
    """The same from where one stands, with what was spent until then."""
    if suspects.known(left):
        return dict.fromkeys(left, cost)
    check = order(suspects, left, situation)
    parts, step = suspects.parts(left, check), suspects.steps[check]
    assert len(parts) > 1, f"{step.id} tells nothing"
    spent, after = Cost(cost.checks + 1, cost.minutes + minutes_of(step, situation)), _after(situation, step)
    out: dict[int, Cost] = {}
    for part in parts:
        out |= followed_from(suspects, order, part, after, spent)
    return out


def followed_to_the_letter(suspects: Suspects, sheet: Sequence[Step], then: Order) -> list[Cost]:
    """What a sheet costs whose every check is made in its turn, also where it can tell nothing, until the cure is
    known. `then`: the order of what is left to do where the sheet does not say it."""
    place = {step.id: i for i, step in enumerate(suspects.steps)}
    out = [Cost(0.0, 0.0)] * len(suspects.groups)

    def go(left: Places, at: int, situation: Situation, cost: Cost) -> None:
        while not suspects.known(left) and at < len(sheet):
            step = sheet[at]
            cost = Cost(cost.checks + 1, cost.minutes + minutes_of(step, situation))
            situation, at = _after(situation, step), at + 1
            parts = suspects.parts(left, place[step.id]) if step.id in place else [left]
            for part in parts[1:]:
                go(part, at, situation, cost)
            left = parts[0]
        for i, more in followed_from(suspects, then, left, situation, cost).items():
            out[i] = more

    go(tuple(range(len(suspects.groups))), 0, _BEGIN, Cost(0.0, 0.0))
    return out


# ---------------------------------------------------------------- orders


def cheapest_order(suspects: Suspects) -> Order:
    """The order of least expected minutes, by dynamic programming over what is left and where one stands."""
    weights = [group.prior for group in suspects.groups]
    known: dict[tuple[Places, str | None, frozenset[str]], tuple[float, int]] = {}
    by_pattern: dict[tuple[object, ...], int] = {}
    for i, step in enumerate(suspects.steps):  # of checks that answer alike at one place the cheapest will do
        canon = tuple(np.unique(suspects.answers[:, i], return_inverse=True)[1].tolist())
        first: dict[int, int] = {}
        pattern = tuple(first.setdefault(answer, len(first)) for answer in canon)
        kind = (pattern, step.place, step.caution)
        own = minutes_of(step, replace(_BEGIN, place=step.place))
        if kind not in by_pattern or own < minutes_of(
            suspects.steps[by_pattern[kind]], replace(_BEGIN, place=step.place)
        ):
            by_pattern[kind] = i
    checks = sorted(by_pattern.values())

    def best(left: Places, situation: Situation) -> tuple[float, int]:
        if suspects.known(left):
            return 0.0, -1
        key = (left, situation.place, situation.acknowledged)
        if key not in known:
            weight = sum(weights[i] for i in left)
            found = (math.inf, -1)
            useful = [i for i in checks if suspects.tells(left, i)]
            costs = {i: minutes_of(suspects.steps[i], situation) * weight for i in useful}
            for check in sorted(useful, key=lambda i: costs[i]):
                if costs[check] >= found[0]:
                    break
                after, cost = _after(situation, suspects.steps[check]), costs[check]
                for part in suspects.parts(left, check):
                    cost += best(part, after)[0]
                    if cost >= found[0]:
                        break
                if cost < found[0] - 1e-12:
                    found = (cost, check)
            known[key] = found
        return known[key]

    return lambda _, left, situation: best(left, situation)[1]


def printed(circuit: str, everything: Sequence[Step]) -> Order:
    """The printed order of a circuit; what cannot tell anything is left out."""
    return _first_of([step.id for step in as_printed(everything, circuit)])


def _first_of(names: Sequence[str]) -> Order:
    def order(suspects: Suspects, left: Places, situation: Situation) -> int:
        place = {step.id: i for i, step in enumerate(suspects.steps)}
        return next(place[name] for name in names if name in place and suspects.tells(left, place[name]))

    return order


def half_split(circuit: str, everything: Sequence[Step]) -> Order:
    """The middle one of the points along the feed that can still tell anything; then as printed."""
    line = [step.id for step in along_the_feed(everything, circuit)]
    rest = printed(circuit, everything)

    def order(suspects: Suspects, left: Places, situation: Situation) -> int:
        place = {step.id: i for i, step in enumerate(suspects.steps)}
        useful = [place[name] for name in line if name in place and suspects.tells(left, place[name])]
        return useful[len(useful) // 2] if useful else rest(suspects, left, situation)

    return order


def programs(reasoner: Reasoner) -> Order:
    """The program's choice of the next check among the same ones, were every answer so far certain."""
    tables: dict[str, StepTable] = {}

    def order(suspects: Suspects, left: Places, situation: Situation) -> int:
        if suspects.complaint not in tables:
            tables[suspects.complaint] = StepTable(suspects.steps, reasoner.chances.table)
        present = np.zeros(len(reasoner.causes))
        whole = sum(suspects.groups[i].prior for i in left)
        for i in left:  # one cause stands for those that nothing tells apart
            present[reasoner.index[suspects.groups[i].causes[0]]] = suspects.groups[i].prior / whole
        sets = tuple((frozenset((int(i),)), float(present[i])) for i in np.argsort(-present) if present[i] > 0)
        place = {step.id: i for i, step in enumerate(suspects.steps)}
        posterior = Posterior(sets, present, 0.0, 0.0, (), False)
        ranked = tables[suspects.complaint].rank(
            posterior, reasoner.remedy_of, situation, lambda step: suspects.tells(left, place[step.id])
        )
        return place[ranked[0].step.id]

    return order


# ---------------------------------------------------------------- counting


def _mean(costs: Sequence[Cost], weights: Sequence[float]) -> Cost:
    checks = float(np.average([cost.checks for cost in costs], weights=weights))
    return Cost(checks, float(np.average([cost.minutes for cost in costs], weights=weights)))


def shannon(suspects: Suspects) -> Cost:
    """No order takes fewer checks or minutes on average: bits of the cure over bits that a check can give."""
    weights: dict[frozenset[str], float] = {}
    for group in suspects.groups:
        weights[group.cure] = weights.get(group.cure, 0.0) + group.prior
    whole = sum(weights.values())
    bits = entropy_bits([weight / whole for weight in weights.values()])
    most = max((len(set(column)) for column in suspects.answers.T.tolist()), default=2)
    depth = bits / math.log2(max(most, 2))
    return Cost(depth, cost_bound(depth, [step.minutes for step in suspects.steps]))


@dataclass(frozen=True)
class Told:
    """A fault, the complaint that was told of it, all that could have been, and the job that was played."""

    cause: str
    complaint: str
    noticed: tuple[str, ...]
    job: Job | None


def _told(garage: Garage, circuit: str | None, jobs: int, *, play: bool) -> Iterator[Told]:
    described = garage.described
    names = sorted(described.prior, key=lambda name: (-described.prior[name], name))
    if circuit is not None:
        owner = described.knowledge.circuit_of
        names = [name for name in names if owner.get(name.split(".")[0], owner.get(name)) == circuit]
    tasks = [Task("single", number, "0", name) for number, name in enumerate(names)]
    if play:
        for task, job in run(tasks, jobs, progress):
            if job.complaint:
                yield Told(str(task.cause), job.complaint, job.noticed, job)
        return
    for task in tasks:
        progress(f"{task.number}/{len(tasks)} {task.cause}")
        fitter = garage.fitter([str(task.cause)], f"0 {task.cause}")
        if fitter.complaints():
            fitter.reply({"type": "ask", "check": "start", "id": ""})
            yield Told(str(task.cause), fitter.told[0], tuple(fitter.noticed), None)


def _small(found: Mapping[str, Suspects], garage: Garage) -> None:
    """Beside the cheapest order there is, for the likeliest groups of each complaint."""
    steps = list(garage.reasoner.steps.values())
    sums: dict[str, list[tuple[float, Cost]]] = {}
    for complaint, whole in found.items():
        suspects = whole.heaviest(_MOST)
        if len(suspects.groups) < 2 or suspects.known(tuple(range(len(suspects.groups)))):
            continue
        weights = [group.prior for group in suspects.groups]
        circuit = _circuit(garage, complaint)
        orders = {
            "the cheapest there is": cheapest_order(suspects),
            "the program's choice": programs(garage.reasoner),
            "half-splitting along the feed": half_split(circuit, steps),
            "as printed": printed(circuit, steps),
        }
        for name, order in orders.items():
            progress(f"{complaint}: {name}")
            sums.setdefault(name, []).append((sum(weights), _mean(followed(suspects, order), weights)))
        sums.setdefault("bound by Shannon", []).append((sum(weights), shannon(suspects)))
    progress("")
    print(f"\nThe {_MOST} likeliest groups of causes of each of {len(sums['as printed'])} complaints, certain answers")
    _table({name: _mean([c for _, c in rows], [w for w, _ in rows]) for name, rows in sums.items()})


def _table(costs: Mapping[str, Cost]) -> None:
    full = costs["as printed"]
    for name, cost in sorted(costs.items(), key=lambda pair: pair[1].minutes):
        share = cost.minutes / full.minutes
        print(f"  {name:34} {cost.checks:6.2f} checks {cost.minutes:7.2f} min {share:6.2f} of the printed order")


def _circuit(garage: Garage, complaint: str) -> str:
    found = complaint.removeprefix("circuit:")
    found = found if found != complaint else garage.described.knowledge.circuit_of[complaint]
    return found if found in FEEDS else "turn-signals"


def _operate(garage: Garage, complaint: str) -> Mapping[str, str]:
    """How the controls stand when it shows."""
    symptom = garage.described.knowledge.symptoms.get(complaint)
    check = symptom.shows[0][0].check if symptom is not None else None
    return garage.described.knowledge.checks[check].operate if check is not None else {}


def _whole(found: Mapping[str, Suspects], told: Sequence[Told], garage: Garage) -> None:
    """All causes: the printed order, half-splitting, and the program's whole jobs, on the same faults."""
    steps = list(garage.reasoner.steps.values())
    prior = garage.described.prior
    rows: dict[str, list[tuple[str, float, Cost]]] = {}
    for complaint, suspects in found.items():
        circuit = _circuit(garage, complaint)
        orders = {
            "half-splitting along the feed": half_split(circuit, steps),
            "as printed": printed(circuit, steps),
            "the program's choice, certain": programs(garage.reasoner),
        }
        place = {cause: i for i, group in enumerate(suspects.groups) for cause in group.causes}
        mine = [one for one in told if one.complaint == complaint]
        for name, order in orders.items():
            progress(f"{complaint}: {name}")
            costs = followed(suspects, order)
            rows.setdefault(name, []).extend((circuit, prior[one.cause], costs[place[one.cause]]) for one in mine)
        sheet = one_sheet(steps, circuit, _operate(garage, complaint))
        costs = followed_to_the_letter(suspects, sheet, orders["as printed"])
        rows.setdefault("one printed sheet to the letter", []).extend(
            (circuit, prior[one.cause], costs[place[one.cause]]) for one in mine
        )
        for one in mine:
            if one.job is not None and one.job.to_right is not None:
                cost = Cost(one.job.to_right[0] - 1.0, one.job.to_right[1])  # the complaint is no check
                rows.setdefault("the program, whole jobs", []).append((circuit, prior[one.cause], cost))
    progress("")
    print(f"\nAll causes that somebody notices ({len(told)}), to the right cure, weighed by how often each is met")
    _table({name: _mean([c for *_, c in found], [w for _, w, _ in found]) for name, found in rows.items()})
    for circuit in FEEDS:
        here = {name: [(w, c) for at, w, c in found if at == circuit] for name, found in rows.items()}
        if all(here.values()) and any(cost.minutes for _, cost in here["as printed"]):
            print(f" complaints of {circuit}")
            _table({name: _mean([c for _, c in found], [w for w, _ in found]) for name, found in here.items()})


def main(arguments: Sequence[str] | None = None) -> None:
    """Play, follow and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--circuit", help="faults of this circuit alone")
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument("--tables", action="store_true", help="certain answers alone; no whole jobs are played")
    given = parser.parse_args(arguments)
    garage = Garage.opened()
    told = list(_told(garage, given.circuit, given.jobs, play=not given.tables))
    prior, cure = garage.described.prior, garage.described.cure
    found = {
        complaint: Suspects.of(
            complaint,
            {one.cause: prior[one.cause] for one in told if complaint in one.noticed},
            cure,
            garage.reasoner,
        )
        for complaint in dict.fromkeys(one.complaint for one in told)
    }
    _small(found, garage)
    _whole(found, told, garage)


if __name__ == "__main__":
    main()
