"""Build docs/reference from the docstrings: one page a package, read from source without importing it."""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterator
from pathlib import Path

import docstrings

ROOT = Path(__file__).resolve().parent.parent
SOURCE = ROOT / "src"
TARGET = ROOT / "docs" / "reference"
NOTE = "<!-- Built from docstrings by `make docs`; edit those, not this page. -->"
ITEM_SECTIONS = {"Parameters", "Returns", "Yields", "Raises", "Attributes"}


def dotted(path: Path) -> str:
    """The import name of a source file."""
    parts = path.relative_to(SOURCE).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def section(name: str, lines: list[str], doc: docstrings.Docstring) -> Iterator[str]:
    """One docstring section as Markdown."""
    yield f"**{name}**\n"
    if name in ITEM_SECTIONS:
        yield "\n".join(f"- `{e.head}` {e.text}".rstrip() for e in doc.entries(name)) + "\n"
    elif name == "Examples":
        yield "```pycon\n" + "\n".join(lines).strip() + "\n```\n"
    else:
        yield "\n".join(lines).strip() + "\n"


def prose(text: str | None) -> Iterator[str]:
    """A whole docstring as Markdown."""
    doc = docstrings.parse(text or "")
    if doc.summary:
        yield doc.summary + "\n"
    for name, lines in doc.sections.items():
        yield from section(name, lines, doc)


def signature(function: docstrings.Function) -> str:
    """A function's head line, one argument a line once it grows long."""
    result = f" -> {ast.unparse(function.returns)}" if function.returns else ""
    line = f"{function.name}({ast.unparse(function.args)}){result}"
    if len(line) <= 90:
        return line
    # Commas inside brackets belong to a type, so split only where the nesting is flat.
    parts, depth, start = [], 0, 0
    text = ast.unparse(function.args)
    for i, letter in enumerate(text):
        depth += (letter in "([{") - (letter in ")]}")
        if letter == "," and depth == 0:
            parts.append(text[start:i].strip())
            start = i + 1
    return f"{function.name}(\n    " + ",\n    ".join([*parts, text[start:].strip()]) + f",\n){result}"


def function_page(function: docstrings.Function, level: str) -> Iterator[str]:
    """A function: name, signature, docstring."""
    yield f"{level} {function.name}\n"
    yield f"```python\n{signature(function)}\n```\n"
    yield from prose(ast.get_docstring(function))


def field_line(node: ast.AnnAssign) -> str:
    """A record's field; a description inside its definition becomes prose."""
    head = f"{ast.unparse(node.target)}: {ast.unparse(node.annotation)}"
    if isinstance(node.value, ast.Call):
        told = [k.value for k in node.value.keywords if k.arg == "description"]
        text = "".join(str(t.value) for t in told if isinstance(t, ast.Constant))
        return f"- `{head}` {text}".rstrip()
    return f"- `{head} = {ast.unparse(node.value)}`" if node.value else f"- `{head}`"


def fields(owner: ast.ClassDef) -> list[str]:
    """The annotated public fields of a record."""
    annotated = (node for node in owner.body if isinstance(node, ast.AnnAssign))
    return [field_line(node) for node in annotated if docstrings.is_public(ast.unparse(node.target))]


def class_page(owner: ast.ClassDef) -> Iterator[str]:
    """A class: its docstring, its fields where the docstring does not tell them, its public methods."""
    yield f"### {owner.name}\n"
    bases = ", ".join(ast.unparse(base) for base in owner.bases)
    yield f"```python\nclass {owner.name}{f'({bases})' if bases else ''}\n```\n"
    text = ast.get_docstring(owner)
    yield from prose(text)
    if "Parameters" not in docstrings.parse(text or "").sections and (listed := fields(owner)):
        yield "**Fields**\n"
        yield "\n".join(listed) + "\n"
    for method in docstrings.public_methods(owner):
        yield from function_page(method, "####")


def constants(tree: ast.Module) -> list[str]:
    """Documented constants: an assignment with a string right under it."""
    listed = []
    for node, after in zip(tree.body, tree.body[1:], strict=False):
        if not isinstance(node, ast.AnnAssign) or not docstrings.is_public(ast.unparse(node.target)):
            continue
        if isinstance(after, ast.Expr) and isinstance(after.value, ast.Constant) and node.value:
            text = " ".join(str(after.value.value).split())
            listed.append(f"- `{ast.unparse(node.target)} = {ast.unparse(node.value)}` {text}")
    return listed


def module_page(path: Path, tree: ast.Module) -> Iterator[str]:
    """Everything public in one module."""
    yield f"## {dotted(path)}\n"
    yield from prose(ast.get_docstring(tree))
    if listed := constants(tree):
        yield "\n".join(listed) + "\n"
    for owner in docstrings.public_classes(tree):
        yield from class_page(owner)
    for function in docstrings.public_functions(tree):
        yield from function_page(function, "###")


def summary_line(tree: ast.Module) -> str:
    """First sentence of a module's docstring."""
    return (ast.get_docstring(tree) or "").split("\n\n")[0].replace("\n", " ")


def pages() -> dict[str, str]:
    """File name to text of every reference page."""
    built: dict[str, str] = {}
    index = [NOTE, "# Reference\n", "One page a package, one section a module.\n"]
    for package in sorted(SOURCE.rglob("__init__.py"), key=dotted):
        modules = {
            path: ast.parse(path.read_text(encoding="utf-8")) for path in sorted(package.parent.glob("*.py"))
        }
        told = {path: tree for path, tree in modules.items() if len(tree.body) > 0}
        if not told:
            continue
        name = dotted(package)
        sections = [line for path, tree in told.items() for line in module_page(path, tree)]
        built[f"{name}.md"] = "\n".join([NOTE, f"# {name}\n", *sections])
        index.append(f"- [{name}]({name}.md)")
        index += [f"    - `{dotted(path)}`: {summary_line(tree)}" for path, tree in told.items()]
    built["index.md"] = "\n".join(index) + "\n"
    return built


def stale(built: dict[str, str]) -> list[str]:
    """Pages that are missing, differ, or have no package any more; pages written by hand are left alone."""
    texts = {path.name: path.read_text(encoding="utf-8") for path in TARGET.glob("*.md")}
    present = {name: text for name, text in texts.items() if name in built or text.startswith(NOTE)}
    return sorted(name for name in built.keys() | present.keys() if built.get(name) != present.get(name))


def main(arguments: list[str]) -> int:
    """Write the pages, or with --check only tell whether they are current."""
    built = pages()
    old = stale(built)
    if "--check" in arguments:
        print(
            "\n".join(f"docs/reference/{name} is stale: run make docs" for name in old)
            or "reference: current"
        )
        return 1 if old else 0
    TARGET.mkdir(parents=True, exist_ok=True)
    for name in old:
        if name in built:
            (TARGET / name).write_text(built[name], encoding="utf-8")
        else:
            (TARGET / name).unlink()
    print(f"docs/reference: {len(built)} pages, {len(old)} changed")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
