"""Relays and solenoids: pulled in, released or chattering, by the volts on their coils.

Coil volts come from the solution; contacts that move make a new one, until nothing moves. Knows
nothing of what a contact feeds.
"""

from __future__ import annotations

import numpy as np

from diag.circuit.stage import Stage, union

__all__ = ["CHATTERS", "PULLED", "RELEASED", "settle_relays"]

RELEASED, PULLED, CHATTERS = 0, 1, 2
_ROUNDS = 12
"""Relays that work relays need a round each; longer chains are not met on a vehicle."""


def settle_relays(stage: Stage, rows: np.ndarray) -> np.ndarray:
    """Moves the relays of those rows from where they stand until they stay; gives the rows that moved.

    A coil pulls in from its pull-in volts and lets go below its drop-out volts, and stays as it is
    between them. All coils move together, as they do within their few milliseconds; where that comes
    back to where it was, they are tried one after the other, for two relays that race settle either
    way. What still comes back chatters: its own contact takes away what pulls it in (break contact in
    its own feed, or a load on its make contact that the feed cannot carry). A chattering relay is given
    with its make contact closed, which is the phase in which its load works; one that has only a break
    contact is given released.
    """
    relays = stage.network.relays
    if not relays or not len(rows):
        return np.zeros(0, dtype=int)
    before = stage.variants.branch_s[rows].copy()
    busy, seen = rows, [stage.pulled[rows].copy()]
    for _ in range(_ROUNDS):
        wanted = _wanted(stage, busy)
        changed = (wanted != stage.pulled[busy]).any(axis=1)
        busy, wanted = busy[changed], wanted[changed]
        if not len(busy):
            break
        _place(stage, busy, wanted)
        again = np.zeros(len(busy), dtype=bool)
        at = np.searchsorted(rows, busy)
        for past in seen:
            again |= (past[at] == wanted).all(axis=1)
        snapshot = stage.pulled[rows].copy()
        seen.append(snapshot)
        if again.any():
            _one_by_one(stage, busy[again])
            busy = busy[~again]
    else:
        _one_by_one(stage, busy)
    moved: np.ndarray = rows[(stage.variants.branch_s[rows] != before).any(axis=1)]
    return moved


def _wanted(stage: Stage, rows: np.ndarray) -> np.ndarray:
    """(rows, K) where each coil's volts drive its relay."""
    wanted: np.ndarray = stage.pulled[rows].copy()
    for k, relay in enumerate(stage.network.relays):
        # by its current, so that neither an open coil nor a poor joint in it counts as volts on the winding
        across = np.abs(stage.solution.branch_a[rows, relay.coil]) * stage.network.branches[relay.coil].ohm
        wanted[:, k] = np.where(
            across >= relay.pull_v, PULLED, np.where(across < relay.drop_v, RELEASED, wanted[:, k] % CHATTERS)
        )
        welded = stage.flagged(f"{relay.id}:stuck") | stage.flagged(f"{relay.id}:contact-stuck")
        wanted[welded[rows], k] = PULLED  # a welded make contact keeps the armature where it is
    return wanted


def _place(stage: Stage, rows: np.ndarray, wanted: np.ndarray) -> None:
    """Puts contacts where the relays stand and solves the rows in which one moved."""
    stage.pulled[rows] = wanted
    moved = []
    for k, relay in enumerate(stage.network.relays):
        for contact, makes in relay.contacts:
            moved.append(stage.move(contact, (wanted[:, k] != RELEASED) == makes, rows))
    stage.solve(union(moved))


def _one_by_one(stage: Stage, rows: np.ndarray) -> None:
    """One relay at a time in turn; relays that never come to rest are marked as chattering."""
    count = len(stage.network.relays)
    busy, steps = rows, 4 * count
    restless = np.zeros((len(stage), count), dtype=bool)
    for step in range(steps):
        k = step % count
        wanted = stage.pulled[busy].copy()
        wanted[:, k] = _wanted(stage, busy)[:, k]
        moves = wanted[:, k] != stage.pulled[busy, k]
        _place(stage, busy[moves], wanted[moves])
        if step >= steps - 2 * count:
            restless[busy[moves], k] = True
    busy = busy[restless[busy].any(axis=1)]
    if not len(busy):
        return
    taken = stage.pulled[busy].copy()
    for k, relay in enumerate(stage.network.relays):
        phase = PULLED if any(makes for _, makes in relay.contacts) else RELEASED
        taken[:, k] = np.where(restless[busy, k], phase, taken[:, k])
    _place(stage, busy, taken)
    stage.pulled[busy] = np.where(restless[busy], CHATTERS, stage.pulled[busy])
