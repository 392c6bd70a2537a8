"""The command that checks a study file and this machine."""

from optimizer.cli.loading import loading
from optimizer.cli.options import AsJson, Folder, OnDevice


def check(folder: Folder, device: OnDevice = None, as_json: AsJson = False) -> None:
    """Check a study and this machine, and say how long a run takes.

    It compiles the kernel and rides the baseline. It writes nothing into the study.

    Example: levelgain check my_board
    """
    with loading():
        from optimizer.cli.console import console, print_json
        from optimizer.cli.output.check import print_check, study_facts

    out = console(as_json=as_json)
    facts = study_facts(folder, out, device=device)
    if as_json:
        print_json(facts)
    else:
        print_check(out, facts)
        out.print(f"Next: levelgain run {folder}")
