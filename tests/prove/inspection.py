"""Inspection: what the damage limits say about findings at and around every boundary

Cases whose answer follows from how they are built come from tests/reference/inspection_cases.py; for random
stages (inspection_drawn.py) the answer is worked out a second time by inspection_oracle.py, which imports
nothing of the project. Every finding is entered as words, as a table's row would be, and judged with its
stage.
"""

from __future__ import annotations

import random
import sys
from collections import Counter
from collections.abc import Callable, Iterator
from fractions import Fraction
from itertools import islice
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "reference"))
from inspection_cases import LIMITS, PARTS, Case, built, built_pairs
from inspection_drawn import drawn
from inspection_oracle import Blend, Oracle

from spoolwright.crafts.inspection.entering import finding_from, part_named
from spoolwright.crafts.inspection.rules import Earlier, Stage, judge_stage
from spoolwright.sources.shop_part import load_shop_part, shop_folder
from spoolwright.sources.typefile import shipped_type

FINDINGS = 10_000
SEED = 20251125
CLAIM = """
Of at least 10,000 findings at and around every bound of the demonstration type's damage limits (78 lines, all
kinds of bound, millimetres and inches, some sizes not measured, up to ten on a stage, earlier blends) each
gets the disposition that the case was built for or that an independent oracle gives, in any order.
"""
Report = Callable[[int, int], None]
SHOP = load_shop_part(shop_folder(shipped_type())).shop


def run(progress: Report) -> dict[str, Any]:
    """Everything, none dropped."""
    wrong: list[str] = []
    kinds: Counter[str] = Counter()
    disordered = 0
    made = 0
    rng = random.Random(SEED)
    for kind, case in cases(random.Random(SEED)):
        told = answers(case)
        for said, expected in zip(told, expected_of(case), strict=True):
            kinds[f"{kind}, {expected}"] += 1
            if said != expected:
                wrong.append(f"{case.why or 'drawn'}: {said}, expected {expected}")
        order = list(range(len(case.rows)))
        rng.shuffle(order)
        again = answers(Case(case.part, [case.rows[i] for i in order], case.blends))
        disordered += [told[i] for i in order] != again
        made += len(case.rows)
        progress(min(made, FINDINGS), FINDINGS)
    measured = {
        "findings": f"{made:,}",
        "disposition other than expected": f"{len(wrong)} {wrong[:3] or ''}".strip(),
        "stages whose answer depends on the order": str(disordered),
        "by kind and expected answer": ", ".join(f"{k} {n:,}" for k, n in sorted(kinds.items())),
    }
    holds = not wrong and not disordered and made >= FINDINGS
    return {"claim": CLAIM.strip(), "measured": measured, "cases": made, "holds": holds}


def cases(rng: random.Random, at_least: int = FINDINGS) -> Iterator[tuple[str, Case]]:
    """The built cases, then random ones until there are enough findings; at least a quarter is random."""
    made = 0
    for case in (*built(), *built_pairs()):
        made += len(case.rows)
        yield "built", case
    more = max(at_least - made, at_least // 4)
    for case in drawn(rng):
        if more <= 0:
            return
        more -= len(case.rows)
        yield "drawn", case


def expected_of(case: Case) -> list[str]:
    """What is right for each finding of a case."""
    if case.expected is not None:
        return case.expected
    return Oracle(PARTS[case.part], LIMITS, case.rows, case.blends).answers()


def answers(case: Case) -> list[str]:
    """What the project says about each finding of a case."""
    part = part_named(SHOP.inspected_part, case.part)
    findings = tuple(finding_from(row, part) for row in case.rows)
    stage = Stage(part, SHOP.damage_limit, findings, tuple(_blend(b) for b in case.blends))
    return [j.proposed.value if j else "" for j in judge_stage(stage)]


def _blend(b: Blend) -> Earlier:
    """Tenths of a nanometre to millimetres."""
    at = None if b.at is None else Fraction(b.at, 10**7)
    return Earlier(b.blade, b.zone, Fraction(b.depth, 10**7), at, Fraction(b.length, 10**7))


def some(count: int, seed: int = SEED) -> list[tuple[str, Case]]:
    """A fixed part of the cases, for the tests: every few built ones, then random ones."""
    every = [("built", c) for c in (*built(), *built_pairs())]
    rng = random.Random(seed)
    return [
        *rng.sample(every, min(count, len(every))),
        *(("drawn", c) for c in islice(drawn(rng), count // 4)),
    ]
