"""Which points of a network hang together through wires, joints, fuses and closed contacts.

Only the drawing is followed, nothing is solved: what conducts is one, what is a load parts. Knows nothing of
faults or questions.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Mapping

from diag.circuit.network import Branch, Network

__all__ = ["Paths", "reached"]

_CONTACTS = frozenset({"contact", "relay", "flasher"})
_LEADS = frozenset({"wire", "joint", "fuse"})


def reached(network: Network, starts: Iterable[int], roles: Container[str]) -> frozenset[str]:
    """Ids of the branches of these roles that hang together with the nodes `starts`, every contact among them taken
    as closed; body is not passed through."""
    at: dict[int, list[Branch]] = {}
    for branch in network.branches:
        if branch.role in roles and branch.a and branch.b:
            at.setdefault(branch.a, []).append(branch)
            at.setdefault(branch.b, []).append(branch)
    waiting = list(starts)
    seen, found = set(waiting), set()
    while waiting:
        for branch in at.get(waiting.pop(), ()):
            found.add(branch.id)
            fresh = {branch.a, branch.b} - seen
            seen |= fresh
            waiting += fresh
    return frozenset(found)


class Paths:
    """The conductors of one network. `rest`: each control's rest position."""

    def __init__(self, network: Network, rest: Mapping[str, str]) -> None:
        self.network, self._rest = network, dict(rest)
        self._fixed = [(i, b) for i, b in enumerate(network.branches) if b.role in _LEADS or _earths(b)]
        self._contacts = [(i, b) for i, b in enumerate(network.branches) if b.role in _CONTACTS]
        self._worked = {i: relay for relay in network.relays for i, _ in relay.contacts}
        self._makes = {i: makes for relay in network.relays for i, makes in relay.contacts}
        self._ways: dict[int, list[tuple[int, int]]] = {}
        for i, branch in [*self._fixed, *self._contacts]:
            if branch.a and branch.b:
                self._ways.setdefault(branch.a, []).append((i, branch.b))
                if branch.role != "fuse":
                    self._ways.setdefault(branch.b, []).append((i, branch.a))

    def contacts(self) -> list[int]:
        """Branches that are contacts."""
        return self.branches(*_CONTACTS)

    def nets(
        self,
        operate: Mapping[str, str],
        live: int,
        without: Iterable[int] = (),
        jumper: tuple[int, int] | None = None,
    ) -> list[int]:
        """A number for every node, the same for nodes that hang together under `operate`; `live`: the node of
        the battery's post that is not at body. Relays pull in where their coils lie between that and body.

        `without`: branches that are left out. `jumper`: two nodes joined besides.
        """
        position, gone, pulled = {**self._rest, **operate}, set(without), set[str]()
        while True:
            parent = list(range(len(self.network.nodes)))
            for i, branch in [*self._fixed, *self._contacts]:
                if i not in gone and self._closed(i, branch, position, pulled):
                    _join(parent, branch.a, branch.b)
            if jumper is not None:
                _join(parent, *jumper)
            hot, ground = _root(parent, live), _root(parent, 0)
            more = {
                relay.id
                for relay in self.network.relays
                if relay.id not in pulled and {hot, ground} == {_root(parent, n) for n in self._coil(relay.coil)}
            }
            if not more or hot == ground:
                return [_root(parent, node) for node in range(len(parent))]
            pulled |= more

    def behind(self, start: Iterable[int], stops: Iterable[int] = ()) -> dict[int, int]:
        """Nodes that hang together with `start` in any position of any contact, but not through body nor
        through the branches `stops` nor backwards through a fuse, and over how many branches each."""
        gone = set(stops)
        found = dict.fromkeys((node for node in start if node), 0)
        queue = list(found)
        for node in queue:  # grows while it is gone through: the nearest first
            for i, other in self._ways.get(node, ()):
                if i not in gone and other not in found:
                    found[other] = found[node] + 1
                    queue.append(other)
        return found

    def branches(self, *roles: str) -> list[int]:
        """Conducting branches of these roles."""
        return [i for i, branch in [*self._fixed, *self._contacts] if branch.role in roles]

    def _coil(self, branch: int) -> tuple[int, int]:
        found = self.network.branches[branch]
        return found.a, found.b

    def _closed(self, i: int, branch: Branch, position: Mapping[str, str], pulled: set[str]) -> bool:
        if i in self._worked:
            return (self._worked[i].id in pulled) == self._makes[i]
        if branch.closed_when is None:
            return True
        control, positions = branch.closed_when
        return position.get(control) in positions


def _earths(branch: Branch) -> bool:
    """Whether a branch is an earth point: no other link carries its part's own name."""
    return branch.role == "link" and ":" not in branch.id


def _root(parent: list[int], node: int) -> int:
    while parent[node] != node:
        parent[node] = parent[parent[node]]
        node = parent[node]
    return node


def _join(parent: list[int], a: int, b: int) -> None:
    parent[_root(parent, a)] = _root(parent, b)
