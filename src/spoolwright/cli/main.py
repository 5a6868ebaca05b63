"""The command line. Start-up loads nothing heavy: each command imports what it needs when it runs."""

from __future__ import annotations

import contextlib
import errno
import io
import os
import sys
import warnings
from typing import Annotated, TextIO

import typer

from spoolwright import __version__
from spoolwright.cli import (
    assess_commands,
    batch_commands,
    blend_commands,
    calibrate_commands,
    demo_commands,
    diagnose_commands,
    forecast_commands,
    history_commands,
    inspection_commands,
    installation_commands,
    life_commands,
    person_commands,
    release_commands,
    rig_commands,
    scope_commands,
    serve_commands,
    sheet_commands,
    sisters_commands,
    store_commands,
    type_commands,
)
from spoolwright.errors import InputError, OutputError, SpoolwrightError, sentence_of

# The matrices are small: threads of the linear algebra would only wait for each other (cores in use elsewhere
# made a 900 x 900 factorisation a hundred times slower). NumPy reads this when it is first imported.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

app = typer.Typer(
    name="spoolwright",
    help="A recorded engine test run in, a defensible proposal out. A licensed person decides.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
app.command("assess", epilog=assess_commands.EPILOG)(assess_commands.assess)
app.add_typer(sheet_commands.app, name="sheet")
app.add_typer(type_commands.app, name="type")
app.add_typer(rig_commands.app, name="rig")
app.command("calibrate", epilog=calibrate_commands.EPILOG)(calibrate_commands.calibrate)
app.command("diagnose", epilog=diagnose_commands.EPILOG)(diagnose_commands.diagnose)
app.command("diagnose-all", epilog=batch_commands.EPILOG)(batch_commands.diagnose_all)
app.command("forecast", epilog=forecast_commands.EPILOG)(forecast_commands.forecast)
app.command("forecast-learn", epilog=forecast_commands.LEARN_EPILOG)(forecast_commands.forecast_learn)
app.command("forecast-history", epilog=history_commands.EPILOG)(history_commands.forecast_history)
app.command("sisters", epilog=sisters_commands.EPILOG)(sisters_commands.sisters)
app.add_typer(installation_commands.app, name="installation")
app.add_typer(inspection_commands.app, name="inspection")
app.add_typer(blend_commands.app, name="blend")
app.command("serve", epilog=serve_commands.EPILOG)(serve_commands.serve)
app.add_typer(person_commands.app, name="person")
app.command("adopt", epilog=store_commands.ADOPT_EPILOG)(store_commands.adopt)
app.command("verify", epilog=store_commands.VERIFY_EPILOG)(store_commands.verify)
app.command("backup", epilog=store_commands.BACKUP_EPILOG)(store_commands.backup)
app.command("restore", epilog=store_commands.RESTORE_EPILOG)(store_commands.restore)
app.command("export", epilog=store_commands.EXPORT_EPILOG)(store_commands.export)
app.add_typer(life_commands.app, name="life")
app.command("sign-pack", epilog=release_commands.EPILOG)(release_commands.sign_pack)
app.command("figures", epilog=scope_commands.EPILOG)(scope_commands.figures)
app.command("demo")(demo_commands.demo)

INTERNAL_ERROR, INTERRUPTED, BROKEN_PIPE = 70, 130, 141
_NO_ROOM = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO)


def _version(asked: bool) -> None:
    if asked:
        typer.echo(f"spoolwright {__version__}")
        raise typer.Exit


@app.callback()
def main(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Version.")
    ] = False,
) -> None:
    """A recorded engine test run in, a defensible proposal out."""


def run() -> None:
    """Entry point: whatever happens becomes a sentence and an exit code, never a traceback."""
    sys.exit(_exit_code())


def _exit_code() -> int:
    _tame_streams()
    try:
        code = _called()
        sys.stdout.flush()
        return code
    except SpoolwrightError as error:
        return _told(str(error), error.exit_code)
    except BrokenPipeError:
        _drop(sys.stdout)
        return BROKEN_PIPE
    except KeyboardInterrupt:
        return _told("interrupted. No report was left half written.", INTERRUPTED)
    except MemoryError as error:
        return _told(sentence_of(error), InputError.exit_code)
    except OSError as error:
        if error.errno not in _NO_ROOM:
            return _fault(error)
        _drop(sys.stdout)
        return _told(f"cannot write: {error.strerror}. Make room, then run again.", OutputError.exit_code)
    except Exception as error:
        return _fault(error)


def _called() -> int:
    """The exit code of the command; a reader who left and Ctrl-C come out as what they are."""
    try:
        app()
    except SystemExit as stop:
        if isinstance(stop.__context__, BrokenPipeError):
            raise stop.__context__ from None
        if stop.code == INTERRUPTED:
            raise KeyboardInterrupt from None
        return stop.code if isinstance(stop.code, int) else 0
    return 0


def _fault(error: Exception) -> int:
    if os.environ.get("SPOOLWRIGHT_TRACEBACK"):
        raise error
    return _told(sentence_of(error), INTERNAL_ERROR)


def _told(text: str, code: int) -> int:
    """Say why it ends; a file's name or content cannot command the terminal."""
    plain = "".join(c if c.isprintable() or c == "\n" else "?" for c in text)
    try:
        typer.echo(f"spoolwright: {plain}", err=True)
    except OSError:
        _drop(sys.stderr)
    return code


def _tame_streams() -> None:
    """A closed stream swallows, and a letter that the terminal cannot show becomes a question mark."""
    if not sys.warnoptions:  # a library's warning to programmers tells a person at the bench nothing
        warnings.simplefilter("ignore")
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if stream is None:
            setattr(sys, name, open(os.devnull, "w"))  # noqa: SIM115 - stays open to the end
        elif isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")


def _drop(stream: TextIO) -> None:
    """Send what is still to be written nowhere, so that nothing complains at the end."""
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())
