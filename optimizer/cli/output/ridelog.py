"""What a ride log is, what is fitted to it, and how a predicted ride differs from it."""

from collections.abc import Mapping, Sequence

from rich.console import Console

from optimizer.ridelog.fits.all_fits import Fits
from optimizer.ridelog.next_ride import Proposal
from optimizer.ridelog.replay import Compared
from optimizer.study.log_data.checks import Checked
from optimizer.study.log_data.findings import Weight


def check_facts(checked: Checked) -> dict[str, object]:
    """Return what a log is and what was found in it, for JSON."""
    return {
        "rows": checked.n_rows,
        "duration_s": checked.duration_s,
        "rate_hz": checked.rate_hz,
        "findings": [
            {
                "weight": str(finding.weight),
                "channel": finding.subject,
                "line": finding.line or None,
                "time_s": finding.time_s,
                "text": finding.text,
            }
            for finding in checked.findings
        ],
    }


def print_checked(out: Console, checked: Checked) -> None:
    """Print what a log is and what was found in it."""
    out.print(
        f"{checked.n_rows} rows, {checked.duration_s:.1f} s at {checked.rate_hz:.4g} Hz;"
        f" {len(checked.findings)} finding(s)."
    )
    for finding in checked.findings:
        style = "bold red" if finding.weight is Weight.WARNING else "yellow"
        out.print(f"{finding.weight:8s}", style=style, end=" ")
        out.print(str(finding))


def print_fits(out: Console, fits: Fits) -> None:
    """Print every fitted number with its interval, and what the log leaves undetermined."""
    for subject, fit in fits.items():
        out.print(f"\n{subject}", style="bold")
        if isinstance(fit, str):
            out.print(f"  no fit: {fit}")
            continue
        for name, value, low, high in zip(fit.names, fit.value, fit.low, fit.high, strict=True):
            bound_up = fit.most_bound_up(name)
            also = f"  {bound_up[1]:+.2f} with {bound_up[0]}" if bound_up else ""
            out.print(f"  {name:32s} {value:10.5g}  ({low:.5g} to {high:.5g}){also}")
        for text in fit.undetermined:
            out.print(f"  undetermined: {text}")


def print_next_ride(out: Console, proposals: Sequence[Proposal]) -> None:
    """Print the test ride that would narrow most, and why; or that none would narrow much."""
    if not proposals:
        out.print(
            "\nNo test ride would narrow much: no interval moves the current in reserve by 1 %."
        )
        return
    first, *_ = proposals
    most, *others = first.uncertain
    also = f" It narrows {', '.join(each.name for each in others)} too." if others else ""
    out.print(f"\nTo ride next, within the board's limits: {first.manoeuvre.text}.")
    out.print(f"Why: {most.sentence}; {first.manoeuvre.why}.{also}")


def print_not_taken(out: Console, ended_at_bound: Mapping[str, float]) -> None:
    """Say in one line which fitted numbers a study does not take, as they ended at a bound."""
    named = ", ".join(f"{name} {value:.4g}" for name, value in ended_at_bound.items())
    out.print(f"Not taken, as the fit ended at a bound: {named}. The catalogue's values stay.")


def print_compared(
    out: Console, compared: Sequence[Compared], *, lag_s: float, does_not_fit: Sequence[str]
) -> None:
    """Print how far each channel of the predicted ride is from the log.

    Parameters
    ----------
    out : Console
    compared : sequence of Compared
    lag_s : float
        Time by which the predicted speed comes after the log's.
    does_not_fit : sequence of str
        A sentence for each channel that does not fit.
    """
    out.print(
        f"The predicted ride comes {lag_s:.1f} s after the log, which holds the speed that was"
        " reached and not the one wanted; it is laid over the log without that."
    )
    for one in compared:
        out.print(f"{one.name:10s} {one.in_words()}")
    for text in does_not_fit:
        out.print(f"does not fit: {text}")
