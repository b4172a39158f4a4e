"""Answers for tests: every question answered by chance, and the vehicle's volts the plain way."""

from __future__ import annotations

from random import Random

from diag.circuit.network import Change
from diag.circuit.parts import build_network
from diag.circuit.predict import bench_of
from diag.fit.interview import Asked, next_asked, read_answer
from diag.fit.questions import Catalogue
from diag.knowledge.assemble import Knowledge

NAMES = ("Old faithful", "Grüner: Lieferwagen #2", "-", "no", "12", "'\"{}[]&*!|>%@`", "a: b", "~", "Вездеход")


def answer(asked: Asked, luck: Random) -> str:
    """What somebody might type: a choice by its digit, value or words, an amount, a name; often just Enter."""
    if luck.random() < 0.2:
        return ""
    if asked.choices:
        value = luck.choice(list(asked.choices))
        return luck.choice([value, asked.choices[value], str(list(asked.choices).index(value) + 1)])
    if asked.unit is not None:
        metres = luck.uniform(asked.least, asked.most)
        return luck.choice([f"{metres:.1f}", f"{metres:.2f} m", f"w {metres:.1f} m"])
    return luck.choice(NAMES)


def answers_by_chance(catalogue: Catalogue, luck: Random, **fixed: str) -> dict[str, str]:
    """A whole set of answers; `fixed` are given for the questions of that id (`_` stands for `-`)."""
    given = {name.replace("_", "-"): value for name, value in fixed.items()}
    answers: dict[str, str] = {}
    while (asked := next_asked(catalogue, answers)) is not None:
        for _ in range(20):
            try:
                answers[asked.id] = read_answer(asked, given.get(asked.id) or answer(asked, luck))
                break
            except ValueError:
                assert asked.unit is not None or not asked.choices
        else:
            answers[asked.id] = asked.typical
    return answers


def lamp_volts(knowledge: Knowledge, operate: dict[str, str]) -> dict[str, float]:
    """Volts on every filament of the healthy vehicle, while a flasher's contact is closed."""
    network = build_network(knowledge)
    shown, _ = bench_of(knowledge, network).operate([operate], [Change()])
    return {lamp.id: float(abs(volts)) for lamp, volts in zip(network.filaments, shown.lamp_on_v[0], strict=True)}
