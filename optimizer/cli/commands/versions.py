"""The command that says what decides results on this machine."""

from optimizer.cli.loading import loading
from optimizer.cli.options import AsJson


def versions(as_json: AsJson = False) -> None:
    """Say which releases and which model decide results here.

    Machines that say the same from "levelgain" to "model" find the same results.

    Example: levelgain versions
    """
    with loading():
        from optimizer.cli.console import console, print_json
        from optimizer.cli.output.versions import print_versions, version_facts

    facts = version_facts()
    if as_json:
        print_json(facts)
    else:
        print_versions(console(), facts)
