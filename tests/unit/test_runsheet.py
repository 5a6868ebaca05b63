"""Run sheets: a good one reads, every mistake in a bad one is told with its line."""

from __future__ import annotations

from pathlib import Path

import pytest

from spoolwright.crafts.typefile.model import TypeFile
from spoolwright.errors import InputError, RunSheetError
from spoolwright.sources.runsheet import read_run_sheet, sheet_beside
from spoolwright.sources.typefile import load_type, shipped_type

GOOD = """format = 1
run = "2"
performed_on = 2026-03-02
limit_set = "overhauled"

[engine]
serial = "FW-0007"

[cell]
cell = "cell_1"
configuration = "open stack"
precipitation = "none"

[fuel]
batch = "B-11"
sampled_on = 2026-02-27
lower_heating_value = { value = 43.1, unit = "MJ/kg" }
heating_value_standard_uncertainty = { value = 0.05, unit = "MJ/kg" }
density_15c = { value = 0.803, unit = "kg/L" }
hydrogen_to_carbon = 1.91

[[correction]]
channel = "ng"
kind = "swap_with"
other = "np"
reason = "cables crossed at the panel"
signed_by = "A. Person"
signed_at = 2026-03-02T10:00:00Z
"""


@pytest.fixture(scope="module")
def corrie() -> TypeFile:
    return load_type(shipped_type()).type_file


def read(text: str, tmp_path: Path, corrie: TypeFile) -> object:
    path = tmp_path / "a.run.toml"
    path.write_text(text)
    return read_run_sheet(path, corrie)


def test_good_sheet_reads(tmp_path: Path, corrie: TypeFile) -> None:
    sheet = read(GOOD, tmp_path, corrie)
    assert sheet.engine.serial == "FW-0007"  # type: ignore[attr-defined]
    assert sheet.correction[0].other == "np"  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    ("old", "new", "line", "words"),
    [
        ('limit_set = "overhauled"', 'limit_set = "overhaled"', 4, "Did you mean 'overhauled'?"),
        ('channel = "ng"', 'channel = "nh"', 23, "is not in the type file"),
        ('other = "np"', "", 22, "needs 'other'"),
        ('unit = "kg/L"', 'unit = "MJ/kg"', 19, "is a unit of specific energy"),
        ('unit = "kg/L"', 'unit = "kg/pint"', 19, "not known"),
        ('serial = "FW-0007"', "", 6, "'serial' is missing"),
        ('batch = "B-11"', 'batch = "B-11"\nsulphur = 0.1', 16, "key 'sulphur' is not known"),
        ("hydrogen_to_carbon = 1.91", "hydrogen_to_carbon = 7", 20, "2.3"),
    ],
)
def test_mistake_is_told_with_its_line(
    old: str, new: str, line: int, words: str, tmp_path: Path, corrie: TypeFile
) -> None:
    with pytest.raises(RunSheetError) as caught:
        read(GOOD.replace(old, new), tmp_path, corrie)
    assert [p.line for p in caught.value.problems] == [line]
    assert words in str(caught.value)


def test_all_mistakes_are_told_at_once(tmp_path: Path, corrie: TypeFile) -> None:
    bad = GOOD.replace('"overhauled"', '"x"').replace('"ng"', '"y"').replace('serial = "FW-0007"', "")
    with pytest.raises(RunSheetError) as caught:
        read(bad, tmp_path, corrie)
    assert len(caught.value.problems) == 3


def test_missing_sheet_is_an_error_with_its_path(tmp_path: Path, corrie: TypeFile) -> None:
    with pytest.raises(InputError, match="the run sheet cannot be read"):
        read_run_sheet(tmp_path / "none.run.toml", corrie)


def test_place_of_a_sheet() -> None:
    assert sheet_beside(Path("a/run 1.csv")) == Path("a/run 1.run.toml")


@pytest.mark.parametrize(
    ("key", "good", "wrong", "told"),
    [
        ("lower_heating_value", "43.1", "43100", "43100 MJ/kg is outside 40 to 46 MJ/kg"),
        ("lower_heating_value", '43.1, unit = "MJ/kg"', '43.1, unit = "kJ/kg"', "43.1 kJ/kg is outside"),
        ("heating_value_standard_uncertainty", "0.05", "-0.05", "-0.05 MJ/kg is outside 0 to 1 MJ/kg"),
        ("serial", '"FW-0007"', '"FW-0007"\nhours = -5', "hours"),
    ],
)
def test_an_amount_that_nothing_can_have_is_told(
    tmp_path: Path, corrie: TypeFile, key: str, good: str, wrong: str, told: str
) -> None:
    """A heating value in the wrong unit would move every corrected figure."""
    (line,) = [x for x in GOOD.splitlines() if x.startswith(f"{key} ")]
    with pytest.raises(RunSheetError, match=told):
        read(GOOD.replace(line, line.replace(good, wrong)), tmp_path, corrie)


OIL = """
[oil]
consumed = { value = 0.12, unit = "CONSUMED" }
standard_uncertainty = { value = 0.01, unit = "KNOWN" }
over = { value = 80, unit = "min" }
"""


@pytest.mark.parametrize(
    ("consumed", "known", "told"),
    [
        ("L", "cm3", None),
        ("kg", "kg", None),
        ("kg", "L", "'L' is a unit of volume. Give a unit of mass."),
        ("K", "L", "'K' is a unit of temperature. Give a unit of volume or mass."),
        ("jar", "L", "jar"),
    ],
)
def test_oil_is_poured_or_weighed_and_its_uncertainty_in_the_same(
    tmp_path: Path, corrie: TypeFile, consumed: str, known: str, told: str | None
) -> None:
    text = GOOD.replace("[[correction]]", OIL + "[[correction]]", 1)
    text = text.replace("CONSUMED", consumed).replace("KNOWN", known)
    if told is None:
        assert read(text, tmp_path, corrie)
        return
    with pytest.raises(RunSheetError) as caught:
        read(text, tmp_path, corrie)
    assert told in str(caught.value)
