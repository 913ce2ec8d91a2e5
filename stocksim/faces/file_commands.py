"""The commands that write and check site files."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from stocksim.errors import InputError, shown
from stocksim.faces.options import JsonOption, SiteArgument, Topics, deliver, print_json, say

EXAMPLES = {
    "new": "Example: stocksim new house.toml",
    "check": "Example: stocksim check house.toml",
}


def new(
    file: Annotated[Path, typer.Argument(help="File to write; never overwritten.", show_default=False)],
    example: Annotated[str, typer.Option(help="Example to start from; see the list in an error.")] = "starter",
    as_json: JsonOption = False,
) -> None:
    """Write a starter site file. Reads nothing; writes FILE."""
    from stocksim.faces.marks import marked
    from stocksim.site.examples import example_names, example_text
    from stocksim.writing import write_file

    if example not in example_names():
        raise InputError(f"--example {shown(example)} is not known; known are {', '.join(example_names())}.")
    write_file(file, lambda out: out.write(example_text(example)))
    if as_json:
        print_json(marked({"written": str(file), "example": example}))
    else:
        say(f"Wrote {file}. Edit it, then: stocksim check {file}")


def check(site: SiteArgument, as_json: JsonOption = False, topics: Topics = ()) -> None:
    """Show all faults of a site file, or what was understood. Reads SITE and the files it names; writes nothing."""
    from stocksim.faces.marks import marked
    from stocksim.faces.understood import check_answer
    from stocksim.site.reading import load_site

    try:
        answer = check_answer(load_site(site))
    except InputError as error:
        if as_json:
            faults = [{"table": f.table, "field": f.field, "message": f.message} for f in error.faults]
            print_json(marked({"faults": faults, "understood": {}}))
        raise
    deliver(answer, as_json, topics)
