"""The command line. Nothing heavy is imported before it is known which command runs.

`main` is the only place that turns what goes wrong into words on the screen and an exit status; the
commands raise.
"""

from __future__ import annotations

import errno
import os
import sys
import traceback
from collections.abc import Sequence
from pathlib import Path
from typing import Final

import click

from layout.commands.fault import FAULT_REMEDY, fault_words

_EPILOG: Final = """\b
Exit status
  0    everything read, laid and clean
  1    laid, with breaches or findings to settle
  2    a drawing or the rules could not be read (other plans of the job are
       laid all the same), or the command was not understood
  3    an output could not be written; nothing of it is left behind
  4    a fault of setout itself; please report it
  130  interrupted; no output was written (plans that were finished are kept: run
       it again and it goes on from there)
"""
_RULES_HELP: Final = "Rule set (YAML). Without it the packaged default is used: rigid vinyl."
_STREAM_ERRORS: Final = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EIO, errno.EBADF, errno.EFBIG})
"""How a full disk, a closed terminal or a closed handle shows when standard output is written."""
_PICTURES: Final = (".svg", ".png", ".pdf")


@click.group(
    epilog=_EPILOG,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.version_option(package_name="setout", message="%(prog)s %(version)s")
@click.option(
    "-v",
    "--verbose",
    is_flag=True,
    help="Show every finding, and what the libraries behind it have to say.",
)
def cli(*, verbose: bool) -> None:
    """Set out click-together plank floors from an architect's drawing."""
    import logging
    import warnings

    # What a library thinks of a drawing is told in our own findings, in words and with a remedy.
    if verbose:
        os.environ["SETOUT_VERBOSE"] = "1"  # for the processes that lay plans
        logging.basicConfig(level=logging.INFO)
    else:
        logging.getLogger().addHandler(logging.NullHandler())
        warnings.simplefilter("ignore")


@cli.command(epilog=_EPILOG)
@click.argument("plan", type=click.Path(path_type=Path))
@click.option(
    "--rules", metavar="FILE", help="Rule set (YAML) whose hints about the drawing are used."
)
@click.option(
    "--json", metavar="FILE|-", help="Write what was read as JSON; - for standard output."
)
@click.option("--picture", metavar="FILE", help="Draw what was read: .svg, .png or .pdf.")
def read(plan: Path, rules: str | None, json: str | None, picture: str | None) -> int:
    """Show what is understood of PLAN (DXF): rooms, doorways, sizes, units, and every doubt."""
    if picture is not None and Path(picture).suffix.lower() not in _PICTURES:
        raise click.BadParameter(
            f"{picture!r} must end in {', '.join(_PICTURES)}.", param_hint="--picture"
        )
    from layout.commands.read import read as run

    return run(plan, rules=rules, json=json, picture=picture, every=_is_verbose())


@cli.command(epilog=_EPILOG)
@click.argument(
    "plans", metavar="PLAN...", nargs=-1, required=True, type=click.Path(path_type=Path)
)
@click.option("--rules", metavar="FILE", help=_RULES_HELP)
@click.option(
    "--out",
    metavar="DIR",
    required=True,
    type=click.Path(path_type=Path),
    help="Folder for the outputs; it is made where it is missing.",
)
@click.option(
    "--workers",
    metavar="N",
    type=click.IntRange(min=1),
    help="Plans laid side by side (default: as many as there are processors). Changes no output.",
)
@click.option(
    "--site",
    "sites",
    metavar="FILE",
    multiple=True,
    type=click.Path(path_type=Path),
    help="Sizes measured on site (YAML): the form NAME-site.yaml of an earlier run, filled in. Can be "
    "given for each PLAN.",
)
@click.option("--job", metavar="NAME", help="Name of the job for the title blocks.")
@click.option(
    "--date", metavar="DATE", help="Date of issue for the title blocks, printed as given."
)
@click.option(
    "--layers",
    type=click.Choice(["plain", "iso13567", "ncs"]),
    help="Names of the layers in the marked drawing (default: as the rule set says, else plain).",
)
@click.option(
    "--ifc",
    is_flag=True,
    help="Also write a copy of each building model (IFC) with the laid floors in it.",
)
@click.option(
    "--cluster",
    metavar="ADDRESS",
    help="Lay the plans on a Dask cluster whose scheduler answers there (extra `cluster`).",
)
@click.option(
    "--fresh", is_flag=True, help="Lay every plan anew; use nothing kept from an earlier run."
)
@click.option(
    "--minutes",
    metavar="N",
    type=click.FloatRange(min=0, min_open=True),
    help="Time one plan may take (default: as the rule set says, else 30).",
)
@click.option(
    "--memory",
    metavar="MB",
    type=click.IntRange(min=200),
    help="Memory one plan may take (default: as the rule set says, else 4000).",
)
@click.option(
    "--entities",
    metavar="N",
    type=click.IntRange(min=1000),
    help="Entities one drawing may hold (default: as the rule set says, else 5000000).",
)
@click.option("--quiet", is_flag=True, help="Say nothing but errors.")
def lay(  # noqa: PLR0913 - one for each option
    *,
    plans: tuple[Path, ...],
    rules: str | None,
    out: Path,
    workers: int | None,
    sites: tuple[Path, ...],
    job: str | None,
    date: str | None,
    layers: str | None,
    ifc: bool,
    cluster: str | None,
    fresh: bool,
    minutes: float | None,
    memory: int | None,
    entities: int | None,
    quiet: bool,
) -> int:
    """Lay out every PLAN, a drawing or a folder of drawings, and write the marked drawings, cut lists,
    order and record. In place of plans a job file (YAML) may be given that lists them.
    """
    from layout.commands.lay import Said, Work
    from layout.commands.lay import lay as run

    said = Said(
        job=_one_line("--job", job, 120),
        date=_one_line("--date", date, 40),
        layers=layers,
        ifc=ifc,
        sites=sites,
    )
    work = Work(
        workers=workers,
        cluster=cluster,
        fresh=fresh,
        minutes=minutes,
        memory_mb=memory,
        entities=entities,
        verbose=_is_verbose(),
    )
    return run(plans, rules=rules, out=out, quiet=quiet, said=said, work=work)


def _is_verbose() -> bool:
    """Whether the command as a whole was asked to show everything."""
    return bool(click.get_current_context().find_root().params.get("verbose"))


def _one_line(option: str, text: str | None, longest: int) -> str | None:
    """A text for a title block as it was given; refused where no title block can hold it."""
    if text is None:
        return None
    line = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    if not line or len(line) > longest:
        raise click.BadParameter(
            f"write a text of 1 to {longest} characters.", param_hint=f"'{option}'"
        )
    return line


@cli.command(epilog=_EPILOG)
@click.argument("marked", metavar="MARKED.dxf", type=click.Path(path_type=Path))
@click.option("--rules", metavar="FILE", help="Rule set (YAML) in place of the one in the drawing.")
@click.option("--json", metavar="FILE|-", help="Write the result as JSON; - for standard output.")
def check(marked: Path, rules: str | None, json: str | None) -> int:
    """Check a marked drawing against the rules, from what stands in it now."""
    from layout.commands.check import check as run

    return run(marked, rules=rules, json=json)


@cli.group(epilog=_EPILOG)
def rules() -> None:
    """Show a rule set, its schema, or a commented one to start from."""


@rules.command()
@click.argument("file", required=False)
def show(file: str | None) -> int:
    """Check FILE and show every setting that holds. Without FILE: the packaged default."""
    from layout.commands.rules import show as run

    return run(file)


@rules.command()
@click.argument("file", required=False)
def schema(file: str | None) -> int:
    """Print the JSON Schema of a rule set, or write it to FILE, for editors and other programs."""
    from layout.commands.rules import schema as run

    return run(file)


@rules.command()
@click.argument("file", required=False)
@click.option(
    "--like",
    type=click.Choice(["rigid_vinyl", "rigid_vinyl_inches", "laminate", "engineered_wood"]),
    default="rigid_vinyl",
    show_default=True,
    help="Kind of floor.",
)
def new(file: str | None, like: str) -> int:
    """Print a commented rule set to start from, or write it to FILE, which must be new."""
    from layout.commands.rules import new as run

    return run(file, like=like)


@cli.group(epilog=_EPILOG)
def job() -> None:
    """Show the schema of a job file, or start one."""


@job.command(name="schema")
@click.argument("file", required=False)
def job_schema(file: str | None) -> int:
    """Print the JSON Schema of a job file, or write it to FILE, for editors and other programs."""
    from layout.commands.jobs import schema as run

    return run(file)


@job.command(name="new")
@click.argument("file", required=False)
def job_new(file: str | None) -> int:
    """Print a commented job file to start from, or write it to FILE, which must be new."""
    from layout.commands.jobs import new as run

    return run(file)


# --- the way in and out -------------------------------------------------------------------------


def main(argv: Sequence[str] | None = None) -> int:
    """Run a command; its exit status. Arguments are those of the process unless given."""
    _lenient_streams()
    status: object = 0
    try:
        status = cli.main(args=argv, prog_name="setout", standalone_mode=False)
        sys.stdout.flush()
    except click.ClickException as error:
        error.show()
        return 2
    except (KeyboardInterrupt, click.Abort):
        _say("interrupted; no output was written")
        return 130
    except BrokenPipeError:
        _abandon_stdout()  # whoever read it has had enough
        return 3
    except Exception as error:  # noqa: BLE001 - the last place where a fault can be told in words
        return _told(error)
    return status if isinstance(status, int) else 0


def _told(error: Exception) -> int:
    """Say what went wrong; the exit status for it."""
    if _is(error, "layout.safe_write", "OutputError") or _is(
        error,
        "importer.picture",
        "PictureError",  # which is a PlanError too
    ):
        _say(str(error))
        return 3
    if _is(error, "importer.plan", "PlanError") or _is(error, "layout.rules_error", "RuleError"):
        _say(str(error))
        return 2
    if isinstance(error, OSError) and error.errno in _STREAM_ERRORS and error.filename is None:
        _abandon_stdout()
        _say(f"standard output: it cannot be written: {error.strerror}.")
        return 3
    if os.environ.get("SETOUT_TRACEBACK"):
        traceback.print_exception(error)
    _say(f"{fault_words(error)} {FAULT_REMEDY}")
    return 4


def _is(error: Exception, module: str, name: str) -> bool:
    """Whether an error is of a class, without importing it: where it came from it was imported."""
    loaded = sys.modules.get(module)
    return loaded is not None and isinstance(error, getattr(loaded, name))


def _say(words: str) -> None:
    for line in words.split("\n"):
        click.echo("".join(c if c.isprintable() else " " for c in line), err=True)


def _abandon_stdout() -> None:
    """What is still in standard output's buffer goes nowhere, or Python would fail on it at its end."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _lenient_streams() -> None:
    """Names from drawings can hold letters that the terminal or pipe has no code for: show a
    replacement instead of failing. Closed streams swallow what is written to them.
    """
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if stream is None:
            setattr(sys, name, Path(os.devnull).open("w", encoding="utf-8"))  # noqa: SIM115
        elif hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")


if __name__ == "__main__":
    sys.exit(main())
