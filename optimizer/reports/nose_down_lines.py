"""What a validation says of nose-downs besides its verdict, in a few lines of text."""

from optimizer.validation.accelerated_count import AcceleratedCount
from optimizer.validation.changed_rides import Kind
from optimizer.validation.nose_down_rate import DayCount
from optimizer.validation.remedies import Remedies

_TITLES = {
    Kind.PROFILE: "another profile, the best first",
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
            found = "; ".join(f"{remedy.name}: {remedy.prevented}" for remedy in of_kind)
            lines.append(f"{title}: {found}")
    if remedies.no_profile is None:
        lines.append("no other profile: the study's folder holds no finished search of it")
    else:
        lines.append(
            "the board's or the riding's, since no profile of the front"
            f" ({remedies.n_front}) survives them: {remedies.no_profile}"
        )
    lines.append(f"prevented by nothing of all this: {remedies.nothing}")
    return lines


def beside_line(day: DayCount, baseline: DayCount) -> str:
    """Return how a profile's nose-downs compare with the baseline's on the same days."""
    both = len(set(day.nose_downs) & set(baseline.nose_downs))
    return (
        f"Nose-downs on the same days, {day.hours:,.0f} h: {len(day.nose_downs)} with this profile,"
        f" {len(baseline.nose_downs)} with the baseline, {both} of them on the same ride"
    )


def accelerated_line(found: AcceleratedCount) -> str:
    """Return the estimate with its interval, what it is made of, and what it assumes."""
    rate = found.per_1000_km
    made_of = f"{found.in_hardest} in the hardest hundredth of its rides"
    if found.in_rest:
        made_of += f" and {found.in_rest} in the rest, each for {found.rest_weight:.1f}"
    else:
        made_of += "; the rest shows none in the hours ridden in full"
    if found.assumes_an_empty_rest:
        made_of += ", and is taken to hold none"
    return (
        f"Accelerated estimate over {found.hours:,.0f} h, which decides no verdict:"
        f" {rate.rate:.3g} nose-downs per 1,000 km ({rate.low:.3g} to {rate.high:.3g}, 95 %), from"
        f" {made_of}. Ridden: {found.ridden_h:,.0f} h"
    )
