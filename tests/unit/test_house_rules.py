"""The house rules find what they claim to find (cases written by hand from CONTRIBUTING.md)."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import house_rules

GOOD = '''
def mean_speed(distance: float, time: float) -> float:
    """Distance over time.

    Parameters
    ----------
    distance : float
        Way covered [m].
    time : float
        Time taken, greater than
        zero [s].

    Returns
    -------
    float
        Mean speed [m/s].
    """
    return distance / time
'''


def docstring_faults(source: str) -> list[str]:
    return [what for _, what in house_rules.docstring_faults(ast.parse(source))]


def test_a_complete_docstring_passes() -> None:
    assert docstring_faults(GOOD) == []


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ("covered [m]", "covered", "'distance : float' under Parameters must end in its unit"),
        ("zero [s]", "zero", "'time : float' under Parameters must end in its unit"),
        ("speed [m/s]", "speed in [m/s] or so", "'float' under Returns must end in its unit"),
        ("    Returns\n    -------\n    float\n        Mean speed [m/s].\n", "", "no Returns section"),
        ("time: float)", "time: float, wind: float)", "no entry under Parameters for wind"),
        ('"""Distance', '"Distance"\n    """', "no entry under Parameters for distance, time"),
    ],
)
def test_a_gap_in_a_docstring_is_found(old: str, new: str, expected: str) -> None:
    assert old in GOOD
    assert any(expected in fault for fault in docstring_faults(GOOD.replace(old, new)))


def test_private_functions_are_exempt() -> None:
    assert docstring_faults(GOOD.replace("mean_speed", "_mean_speed").replace("[m]", "")) == []


def test_one_line_suffices_where_argument_and_result_share_the_unit() -> None:
    assert (
        docstring_faults('def double(x: float) -> float:\n    """Twice a length [m]."""\n    return 2 * x\n')
        == []
    )
    assert (
        docstring_faults('def double(x: float) -> float:\n    """Twice a length."""\n    return 2 * x\n')
        != []
    )


def long_function(lines: int) -> str:
    return "def f():\n" + '    """One.\n\n    Two.\n    """\n' + "    x = 1\n" * lines


def test_a_function_body_may_have_forty_lines_besides_its_docstring() -> None:
    for lines, count in ((house_rules.FUNCTION_LINES, 0), (house_rules.FUNCTION_LINES + 1, 1)):
        source = long_function(lines)
        assert len(list(house_rules.size_faults(ast.parse(source), source))) == count


def test_a_file_may_have_four_hundred_lines() -> None:
    for lines, count in ((house_rules.FILE_LINES, 0), (house_rules.FILE_LINES + 1, 1)):
        source = "x = 1\n" * lines
        assert len(list(house_rules.size_faults(ast.parse(source), source))) == count


def test_a_file_name_must_say_what_is_in_it(tmp_path: Path) -> None:
    path = tmp_path / "utils.py"
    path.write_text("x = 1\n")
    assert any("utils.py" in fault for fault in house_rules.faults(tmp_path, [path]))


@pytest.mark.parametrize("host", ["files.python" + "hosted.org", "/ro" + "ot/x", "'/wo" + "rk/main'"])
def test_paths_and_hosts_are_found(host: str) -> None:
    assert len(list(house_rules.word_faults(f"line one\nsee {host}\n"))) == 1


@pytest.mark.parametrize(
    "text", ["the route/work/order of a part", "the root of the tree", "scipy.optimize.root"]
)
def test_ordinary_words_are_not(text: str) -> None:
    assert list(house_rules.word_faults(text)) == []
