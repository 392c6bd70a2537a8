"""What would have prevented the nose-downs of a riding day, in a few lines of text."""

from optimizer.validation.changed_rides import Kind
from optimizer.validation.remedies import Remedies

_TITLES = {
    Kind.PROFILE: "another profile",
    Kind.BOARD: "another board",
    Kind.RIDING: "another way of riding",
    Kind.CHANCE: "to compare with",
}


def remedy_lines(remedies: Remedies) -> list[str]:
    """Return what each remedy prevents, a line for each kind, and what none does."""
    many = remedies.ridden_again > 1
    of_all = "" if remedies.ridden_again == remedies.nose_downs else f" of {remedies.nose_downs}"
    lines = [
        f"{remedies.ridden_again}{of_all} nose-down{'s' if many else ''} of the riding day ridden"
        " again with one thing changed; each change prevents so many of them:"
    ]
    for kind, title in _TITLES.items():
        of_kind = [remedy for remedy in remedies.each if remedy.kind is kind]
        if of_kind:
            told = "; ".join(f"{remedy.name}: {remedy.prevented}" for remedy in of_kind)
            lines.append(f"{title}: {told}")
    if remedies.no_profile is not None:
        lines.append(
            f"survived by none of the {remedies.n_front} profiles of the front:"
            f" {remedies.no_profile}"
        )
    lines.append(
        f"the board's or the riding's, since nothing here prevents them: {remedies.nothing}"
    )
    return lines
