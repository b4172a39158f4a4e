"""The plot of chances: labelled, told apart without colour, numbered as the log, folded where nothing moves.

source of all expectations: common practice, no source
"""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree
from collections.abc import Sequence
from itertools import combinations

from diag.log.figures import chance_of
from diag.log.report import Suspect, Trail, TrailRow
from diag.paper.fold import trail_stretches
from diag.paper.plot import Plot, plot_of
from tests.sheet.paper import SVG

FIELD = 78.0
"""Millimetres from 0 to 100 %."""


def trail_of(*rows: Sequence[float], sound: float = 0.0, start: int = 3) -> Trail:
    """Chances of remedies row by row, numbered from `start`."""
    suspects = tuple(Suspect(chr(65 + i), f"r{i}", f"Remedy <{chr(65 + i)}> & co") for i in range(len(rows[0])))
    return Trail(
        suspects,
        tuple(
            TrailRow(start + n, f"answer {n}", tuple(chance_of(p) for p in row), chance_of(sound), chance_of(0.001))
            for n, row in enumerate(rows)
        ),
    )


def plotted(trail: Trail, works: Sequence[int] = ()) -> tuple[Plot, ElementTree.Element]:
    """The plot and its drawing as read back."""
    plot = plot_of(trail, works)
    assert plot is not None
    return plot, ElementTree.fromstring(plot.svg)


def lines_of(svg: ElementTree.Element) -> dict[str, ElementTree.Element]:
    """Groups of lines by letter."""
    found = [group for group in svg.iter(f"{SVG}g") if group.get("class", "").startswith("line ")]
    return {(group.findtext(f"{SVG}title") or "").partition(":")[0]: group for group in found}


def points_of(group: ElementTree.Element) -> list[tuple[float, float]]:
    """Corner points of a line."""
    path = group.find(f"{SVG}path")
    assert path is not None
    return [(float(x), float(y)) for x, y in re.findall(r"[ML]([-\d.]+),([-\d.]+)", path.get("d", ""))]


def texts(svg: ElementTree.Element) -> list[str]:
    return [text.text or "" for text in svg.iter(f"{SVG}text")]


RISE = trail_of((0.1, 0.4, 0.06), (0.5, 0.2, 0.2), (0.99, 0.01, 0.0))


def test_a_line_stands_where_its_chances_are() -> None:
    """A plot that lies is worse than none: 0 and 100 % are the ends of the field, all between in proportion."""
    _, svg = plotted(RISE)
    heights = [y for _, y in points_of(lines_of(svg)["A"])]
    foot = next(float(t.get("y", "")) for t in svg.iter(f"{SVG}text") if t.text == "0 %") - 1.0
    assert [round((foot - y) / FIELD, 3) for y in heights] == [0.1, 0.5, 0.99]
    places = [x for x, _ in points_of(lines_of(svg)["A"])]
    assert len({round(b - a, 1) for a, b in zip(places, places[1:], strict=False)}) == 1


def test_axes_are_labelled_and_answers_numbered_as_in_the_log() -> None:
    """The numbers lead from the plot into the tables."""
    _, svg = plotted(RISE)
    said = texts(svg)
    assert {"0 %", "25 %", "50 %", "75 %", "100 %", "Chance", "3", "4", "5"} <= set(said)
    assert any("Number of the answer" in text for text in said)


def test_lines_differ_by_dash_and_marker_and_bear_their_letter() -> None:
    """On grey paper and to one reader in twelve, colours are alike."""
    row = [0.3, 0.25, 0.2, 0.15, 0.1, 0.06]
    plot, svg = plotted(trail_of(row, row[::-1], row, sound=0.2))
    lines = lines_of(svg)
    assert list(lines) == ["A", "B", "C", "D", "E", "F", "ok"]
    looks = set()
    for letter, group in lines.items():
        path, marker = group[1], group[2]
        shape = re.sub(r"[-\d.]+", "", marker.get("d", "")) if marker.tag.endswith("path") else marker.tag
        looks.add((path.get("stroke-dasharray"), shape, marker.tag))
        assert any(letter in text.split() for text in texts(svg))
    assert len({dash for dash, _, _ in looks}) == len(lines)
    assert [key.letter for key in plot.keys] == list(lines)


def test_what_never_mattered_is_named_and_not_drawn() -> None:
    """Lines on the axis hide the one that counts."""
    plot, svg = plotted(trail_of((0.9, 0.01), (0.95, 0.02)))
    assert list(lines_of(svg)) == ["A"]
    assert plot.left_out == ("B Remedy <B> & co",)


def test_a_work_is_marked_with_its_number() -> None:
    """What was done explains why a line falls."""
    _, svg = plotted(RISE, [4])
    assert texts(svg).count("work") == 1
    bold = [text.text for text in svg.iter(f"{SVG}text") if text.get("font-weight") == "bold"]
    assert "4" in bold and "3" not in bold


def test_a_long_walk_is_folded_and_says_how_much_it_left_out() -> None:
    """Two hundred answers that move nothing are one gap; first and last of them stay, so that lines run on."""
    still = [(0.02, 0.5)] * 200
    trail = trail_of((0.1, 0.1), *still, (0.9, 0.05), sound=0.4)
    folded = [stretch for stretch in trail_stretches(trail) if stretch.folded]
    assert [len(stretch.rows) for stretch in folded] == [199]
    _, svg = plotted(trail)
    assert len(points_of(lines_of(svg)["A"])) == 5  # before, first of the walk, both ends of the fold, after
    assert "197 more" in texts(svg)


def test_a_slow_drift_is_not_folded_into_a_jump() -> None:
    """Steps below the eye's measure that add up are seen between the ends of the fold; nothing is flattened."""
    trail = trail_of(*[(0.1 + 0.004 * n,) for n in range(100)])
    _, svg = plotted(trail)
    heights = [y for _, y in points_of(lines_of(svg)["A"])]
    assert heights[0] - heights[-1] > 0.38 * FIELD


def test_short_jobs_are_never_folded() -> None:
    """Where there is room everything is shown."""
    trail = trail_of(*[(0.5,)] * 40)
    assert [(len(s.rows), s.folded) for s in trail_stretches(trail)] == [(40, False)]


def test_numbers_below_the_axis_do_not_lie_on_each_other() -> None:
    """With many answers some numbers are left out rather than printed over."""
    for count in (10, 30, 40, 120):
        rows = [((n * 37 % 100) / 100,) for n in range(count)]
        _, svg = plotted(trail_of(*rows, start=97), [100])
        numbers = [t for t in svg.iter(f"{SVG}text") if (t.text or "").isdigit()]
        assert any(t.text == "100" for t in numbers)
        for one, other in combinations(numbers, 2):
            apart = abs(float(one.get("x", "")) - float(other.get("x", "")))
            assert apart >= 1.7 * min(len(one.text or ""), len(other.text or "")), (count, one.text, other.text)


def test_everything_lies_on_the_paper_and_letters_apart() -> None:
    """Ten lines that end in one place still have their letters."""
    row = [0.09] * 6
    _, svg = plotted(trail_of([0.2] * 6, row, sound=0.09))
    _, _, wide, high = (float(n) for n in svg.get("viewBox", "").split())
    for text in svg.iter(f"{SVG}text"):
        if text.get("transform") is None:
            x, y = float(text.get("x", "")), float(text.get("y", ""))
            assert 0 <= x < wide and 2 <= y <= high, text.text


def test_titles_are_escaped_and_one_record_makes_no_plot() -> None:
    """A title may hold what would be a tag."""
    plot, _ = plotted(RISE)
    assert "<A>" not in plot.svg and "&lt;A&gt;" in plot.svg
    assert plot_of(trail_of((0.5,))) is None and plot_of(Trail()) is None


def test_a_phone_has_a_plot_of_its_own_that_says_the_same() -> None:
    """Half as wide, so that its letters stay as large where the page is 360 pixels wide."""
    plot, wide = plotted(RISE, [4])
    narrow = ElementTree.fromstring(plot.narrow)
    assert float(narrow.get("width", "").removesuffix("mm")) < 95.3 < float(wide.get("width", "").removesuffix("mm"))
    assert texts(narrow) == texts(wide) and lines_of(narrow).keys() == lines_of(wide).keys()
    heights = [[y for _, y in points_of(lines_of(one)["A"])] for one in (narrow, wide)]
    assert heights[0] == heights[1]
    right = float(narrow.get("viewBox", "").split()[2])
    assert all(0 <= x <= right for group in lines_of(narrow).values() for x, _ in points_of(group))
