"""Reading the shop part of a type: files merged, every mistake with file, line and key."""

from __future__ import annotations

from pathlib import Path

import pytest

from spoolwright.errors import InputError
from spoolwright.sources.shop_part import ShopPartError, load_shop_files, load_shop_part, shop_folder
from spoolwright.sources.typefile import load_type, shipped_type

PART = """
[[part]]
id = "{id}"
name = "Seal"
part_number = "940-1"
module = "air_inlet"
source = {{ document = "OM-940", paragraph = "72-20" }}
"""


def folder_with(tmp_path: Path, **files: str) -> Path:
    folder = tmp_path / "x.shop"
    folder.mkdir()
    for name, text in files.items():
        (folder / f"{name}.toml").write_text(text, encoding="utf-8")
    return folder


def problems(folder: Path) -> list[str]:
    with pytest.raises(ShopPartError) as caught:
        load_shop_part(folder, load_type(shipped_type()).type_file)
    return [str(p) for p in caught.value.problems]


def test_the_shipped_shop_part_has_no_mistake() -> None:
    type_file = load_type(shipped_type()).type_file
    loaded = load_shop_part(shop_folder(shipped_type()), type_file)
    modules = {m.id for m in type_file.module}
    assert {p.module for p in loaded.shop.part} <= modules
    assert [f.name for f in loaded.files] == sorted(f.name for f in loaded.files)


def test_lists_go_on_from_file_to_file(tmp_path: Path) -> None:
    folder = folder_with(tmp_path, a=PART.format(id="one"), b=PART.format(id="two"))
    assert [p.id for p in load_shop_part(folder).shop.part] == ["one", "two"]


def test_the_hash_is_of_names_and_contents(tmp_path: Path) -> None:
    folder = folder_with(tmp_path, a=PART.format(id="one"), b=PART.format(id="two"))
    first = load_shop_part(folder)
    moved = load_shop_files([("a.toml", folder / "a.toml"), ("c.toml", folder / "b.toml")])
    assert first.shop == moved.shop
    assert first.sha256 != moved.sha256
    (folder / "a.toml").write_text(PART.format(id="one") + "# remark\n")
    assert load_shop_part(folder).sha256 != first.sha256


def test_a_type_without_shop_part_has_an_empty_one(tmp_path: Path) -> None:
    assert load_shop_part(tmp_path / "none.shop").shop.part == ()


MISTAKES = [
    (
        PART.format(id="one").replace("part_number", "part_numbr"),
        "b.toml:5 [part[1].part_numbr]",
        "'part_number'",
    ),
    (PART.format(id="one") + "colour = 3\n", "b.toml:8 [part[1].colour]", "'colour' is not known here"),
    (PART.format(id="one") + 'quantity = "two"\n', "b.toml:8 [part[1].quantity]", "a whole number"),
    (PART.format(id="one").replace("OM-940", "OM-94"), "b.toml:7 [part[1].source.document]", "'OM-940'"),
    (PART.format(id="zero"), "b.toml:3 [part[1].id]", "id 'zero' stands twice"),
    ("part = 3\n", "b.toml:1 [part]", "a list"),
    ("[[part]\n", "b.toml:1 [syntax]", ""),
    ("[[part]]\n", "b.toml:1 [part[1]]", "'id' is missing"),
    ("nothing = 1\n", "b.toml:1 [nothing]", "'nothing' is not known here"),
]


@pytest.mark.parametrize(("text", "where", "what"), MISTAKES)
def test_a_mistake_is_told_with_file_line_and_key(tmp_path: Path, text: str, where: str, what: str) -> None:
    folder = folder_with(tmp_path, a=PART.format(id="zero"), b=text)
    found = problems(folder)
    assert any(where in p and what in p for p in found), found


def test_every_file_is_read_to_its_end(tmp_path: Path) -> None:
    wrong = PART.format(id="one") + "colour = 3\n"
    folder = folder_with(tmp_path, a=wrong, b=wrong.replace("one", "two"))
    assert sorted(p.split(":")[0] for p in problems(folder)) == ["a.toml", "b.toml"]


def test_a_file_in_place_of_the_folder_is_refused(tmp_path: Path) -> None:
    (tmp_path / "x.shop").write_text("")
    with pytest.raises(InputError, match="not a folder"):
        load_shop_part(tmp_path / "x.shop")
