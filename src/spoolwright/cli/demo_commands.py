"""`spoolwright demo`: a test run recorded and assessed, and a shop of a dozen engines to walk through."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer


def demo(
    out: Annotated[Path, typer.Option(help="Folder for the recording, the reports and the shop.")] = Path(
        "demo-out"
    ),
    preset: Annotated[
        str, typer.Option(help="Which run to record; `spoolwright rig presets` lists them.")
    ] = "healthy",
    shop: Annotated[
        bool, typer.Option("--shop/--no-shop", help="Fill a shop with a dozen engines at all stages too.")
    ] = True,
    serve: Annotated[
        bool | None,
        typer.Option("--serve/--no-serve", help="Serve the shop afterwards; so at a terminal unless told."),
    ] = None,
    port: Annotated[int, typer.Option(min=0, max=65535, help="Port to serve on.")] = 8940,
) -> None:
    """Record and assess a run of the invented Corrie 940, fill a demonstration shop, serve its pages."""
    from rich.console import Console

    from spoolwright import bootstrap
    from spoolwright.cli.progress import progress_bar
    from spoolwright.reports.terminal import print_summary

    bootstrap.check_outputs([out / "report.json"], [])
    console = Console()
    with progress_bar("Demo") as tell:
        result, files = bootstrap.run_demo(out, preset, progress=tell)
    print_summary(result.assessment, console)
    console.print()
    for label, path in files.items():
        console.print(f"{label:>12}: {path}", highlight=False, markup=False, soft_wrap=True)
    if shop:
        _fill(out / "shop")
        wanted = sys.stdout.isatty() if serve is None else serve
        _show(out / "shop", port, wanted)


def _fill(folder: Path) -> None:
    """Fill the shop unless it is there already."""
    import shutil

    from spoolwright.bootstrap.demo.fill import fill_demo
    from spoolwright.cli.progress import progress_bar

    if (folder / "shop.sqlite").exists():
        return
    unfinished = folder.with_name("shop-being-filled")
    shutil.rmtree(unfinished, ignore_errors=True)  # of a demonstration that was interrupted
    with progress_bar("Demonstration shop, about a minute") as tell:
        fill_demo(unfinished, tell).close()
    unfinished.rename(folder)


def _show(folder: Path, port: int, serve: bool) -> None:
    """Say how the shop is opened, and open it."""
    from spoolwright.bootstrap.demo.people import PASSWORD

    address = f"http://127.0.0.1:{port}/?guide=1"
    typer.echo(f"\nA shop with a dozen engines is in {folder}. Sign in as lena, password: {PASSWORD}")
    if not serve:
        typer.echo(f"Open it: spoolwright serve --shop {folder} --port {port}, then {address}")
        return
    import webbrowser
    from threading import Timer

    from spoolwright.cli.serve_commands import serve as serve_shop

    typer.echo(f"Two minutes from arrival to release: {address}")
    Timer(1.5, webbrowser.open, (address,)).start()
    serve_shop(folder, None, "127.0.0.1", port, False)
