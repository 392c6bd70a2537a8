"""Whether a profile puts the nose down at most a fifth as often as the baseline does."""

import dataclasses

import numpy as np

from objectives.event_rate import most_unseen
from optimizer.search.evaluation import BASELINE
from plant.arrays import Floats
from tests.benchmarks.counted_day import Counts
from tests.benchmarks.markdown import table

FIFTH = 0.2
_RESAMPLED = 1000


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """A profile's count beside the baseline's over the same rides.

    Attributes
    ----------
    among : str
        Which rides.
    baseline, profile : int
        Nose-downs.
    share : float
        Profile over baseline by their rates; inf or NaN without a nose-down of the baseline.
    low, high : float
        Interval of 95 % over resampled roads; by the rule of three where nothing was counted.
    """

    among: str
    baseline: int
    profile: int
    share: float
    low: float
    high: float


def resampled_roads(n_roads: int) -> Floats:
    """Return how often each road counts in each resampled day, (day, course)."""
    random = np.random.default_rng(1)
    return random.multinomial(n_roads, np.full(n_roads, 1.0 / n_roads), _RESAMPLED).astype(float)


def shares(counts: Counts, profile: int) -> list[Share]:
    """Return a profile's share of the baseline's rate, by roads and riders.

    Each of the two is taken with its own worst rider. Roads that no profile survives count in the
    first two shares only.
    """
    every, survived = np.ones(len(counts.hardness)), counts.survived().astype(float)
    days = np.vstack([every, resampled_roads(len(every))])
    found = []
    for named, roads in (("all roads", every), ("roads that a profile survives", survived)):
        for riders in ("all riders", "worst rider"):
            worst = [counts.worst_rider(each) for each in (BASELINE, profile)]
            (base, base_km), (own, own_km) = (
                counts.by_road(each, rider=rider if riders == "worst rider" else None)
                for each, rider in zip((BASELINE, profile), worst, strict=True)
            )
            with np.errstate(divide="ignore", invalid="ignore"):
                # The share that one nose-down of the profile makes.
                unit = float(base_km.sum() / own_km.sum() / (base * roads).sum())
                shares_ = (days @ (own * roads)) / (days @ own_km)
                shares_ *= (days @ base_km) / (days @ (base * roads))
            found.append(
                Share(
                    among=f"{named}, {riders}",
                    baseline=round((base * roads).sum()),
                    profile=round((own * roads).sum()),
                    share=float(shares_[0]),
                    **_interval(shares_, n_own=float((own * roads).sum()), unit=unit),
                )
            )
    return found


def _interval(found: Floats, *, n_own: float, unit: float) -> dict[str, float]:
    """Return the interval of the first share from those of the resampled days after it."""
    known = found[1:][~np.isnan(found[1:])]
    if n_own == 0.0:  # no resampled day holds one either
        return {"low": 0.0, "high": most_unseen() * unit}
    return {
        "low": float(np.quantile(known, 0.025, method="lower")),
        "high": float(np.quantile(known, 0.975, method="higher")),
    }


def shares_table(found: list[Share], name: str) -> str:
    """Return the shares as a table in Markdown."""
    head = [
        "nose-downs",
        "baseline",
        name,
        "share of the baseline's rate (95 %)",
        "a fifth at most",
    ]
    return table(head, [_row(share) for share in found])


def _row(share: Share) -> list[object]:
    if not share.baseline:
        return [share.among, share.baseline, share.profile, "not known", "not known"]
    verdict = "yes" if share.share <= FIFTH else "no"
    text = f"{share.share:.2f} ({share.low:.2f} to {share.high:.2f})"
    return [share.among, share.baseline, share.profile, text, verdict]
