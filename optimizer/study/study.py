"""A study: everything that decides what is ridden, searched and scored."""

import dataclasses
import functools
import itertools
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

from objectives.score_settings import ScoreSettings
from optimizer.base.hashing import digest
from optimizer.search.space import Space
from optimizer.study.balance_variants import Variants, in_variants
from optimizer.study.riding_day import RidingDay
from optimizer.study.scaling import Scaling
from optimizer.study.tolerances import Tolerance
from optimizer.study.validation_settings import Validation
from plant.description.board import Board
from plant.description.course import Course
from plant.description.profile import Profile
from plant.description.rider import Rider
from plant.device import Device
from plant.kernel.simulate import Ride

_DECIDING = (
    "seed",
    "n_hard_rides",
    "hard_rides_h",
    "population",
    "board",
    "riders",
    "balance_variants",
    "courses",
    "ride_weights",
    "baseline",
    "space",
    "start",
    "settings",
)


@dataclasses.dataclass(frozen=True, kw_only=True, eq=False)
class HardRides:
    """Parts of some roads of a riding day in which weak profiles come nearest to a nose-down.

    Attributes
    ----------
    draw : callable
        Gives `rides`, whose roads take longer to draw than all else that results need.
    rider_names : tuple of str
        Of each ride.
    roads : (ride,) int64
        Rides of one number are over one drawn road.
    weights : (ride,) float64
        For how many rides of the day each stands.
    kilometres : mapping of str to float
        What each rider rode in the whole day over these roads.
    text : str
        What they follow from beside the study, as a store keeps it.
    others : HardRides or None
        Those of the day's other roads, which a search does not see; its front is re-evaluated on
        them.
    """

    draw: Callable[[], tuple[Ride, ...]]
    rider_names: tuple[str, ...]
    roads: NDArray[np.int64]
    weights: NDArray[np.float64]
    kilometres: Mapping[str, float]
    text: str
    others: Self | None = None

    @functools.cached_property
    def rides(self) -> tuple[Ride, ...]:
        """The rides, each on a board and with a rider of its own draw of the tolerances."""
        return self.draw()

    def __len__(self) -> int:
        return len(self.rider_names)


@dataclasses.dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Study:
    """A checked study.

    Attributes
    ----------
    folder : Path
    text : str
        The study file as it was read.
    title : str
    seed : int
    population, n_candidates : int
        Candidates in a generation, and in the whole search with the profiles to start from.
    board_name : str
        Name of the board's entry in the catalogue; "own" where the study describes it in full.
    board : Board
    rewound : mapping of str to float
        Numbers of the motor that follow from another Kv than the catalogue's; often empty.
    scaled_from : str or None
        Board of the catalogue from which the catalogue's baseline and bounds are scaled.
    scaling : Scaling or None
        By how much, where they are.
    riders : mapping of name to Rider
    balance_variants : mapping of name to ratios
        Ways in which each rider may balance too; see `optimizer.study.balance_variants`.
    courses : mapping of name to Course
    rides : tuple of Ride
        Named course/rider, course by course.
    ride_weights : (ride,) float64
    handling : tuple of Ride
        Defined rides in which handling is measured.
    n_hard_rides : int
        Rides of a drawn riding day in which the nose-down rate is estimated.
    hard_rides_h : float
        Hours ridden to find them; see `optimizer.riding_day.hard_rides`.
    hard : HardRides or None
        Those rides; None until they are found.
    baseline : Profile
    structure : str
        "single" or "nested": whether the acceleration loop is searched too.
    space : Space
        The searched parameters; the others keep the baseline's values.
    start : (profile, searched parameter) float64
        Known good profiles, ridden first; none if empty.
    weights : mapping of objective to float
    wanted_feel : float or None
        Pitch per acceleration, in deg per m/s2, whose miss is weighed too; None if none is wanted.
    feel_weight : float
        Of that miss. Like the weights it decides no ride; the search does not look at it.
    settings : ScoreSettings
    riding_day : RidingDay
        From which the hard rides are taken, and what a validation rides.
    tolerances : tuple of Tolerance
        Of board and rider, in the riding day and in a validation.
    validation : Validation
        What a selected profile is ridden on besides; it does not decide the search.
    on_search_noise : bool
        The rides have the noise of the search, so limits are asked with a margin for other noise.
    database : str or None
        Address of the PostgreSQL database at which machines share the study; without a password.
    device : Device
        What simulates its rides; no result depends on it.
    """

    folder: Path
    text: str
    title: str
    seed: int
    population: int
    n_candidates: int
    board_name: str
    board: Board
    riders: Mapping[str, Rider]
    balance_variants: Variants
    courses: Mapping[str, Course]
    rides: tuple[Ride, ...]
    ride_weights: NDArray[np.float64]
    handling: tuple[Ride, ...]
    n_hard_rides: int
    hard_rides_h: float
    baseline: Profile
    structure: str
    space: Space
    start: NDArray[np.float64]
    weights: Mapping[str, float]
    settings: ScoreSettings
    riding_day: RidingDay
    tolerances: tuple[Tolerance, ...]
    validation: Validation
    database: str | None
    rewound: Mapping[str, float] = dataclasses.field(default_factory=dict)
    scaled_from: str | None = None
    scaling: Scaling | None = None
    device: Device = "cpu"
    wanted_feel: float | None = None
    feel_weight: float = 0.0
    hard: HardRides | None = None
    on_search_noise: bool = True

    def __repr__(self) -> str:
        return (
            f"<Study {self.title!r} in {self.folder}: {len(self.riders)} riders,"
            f" {len(self.courses)} courses, {len(self.rides)} rides,"
            f" {self.space.n_parameters} parameters searched>"
        )

    def _other_numbers(self, ride: Ride) -> list[Board | Rider]:
        """Return board and rider of a ride if they are not as described, else nothing."""
        plain = ride.board == self.board and ride.rider == self.riders.get(
            ride.rider_name, ride.rider
        )
        return [] if plain else [ride.board, ride.rider]

    @functools.cached_property
    def riders_in_variants(self) -> dict[str, tuple[Rider, ...]]:
        """Each rider as described, and then in every variant."""
        return {
            name: in_variants(rider, self.balance_variants) for name, rider in self.riders.items()
        }

    @property
    def every_rider(self) -> list[Rider]:
        """All riders in all variants, those of one rider together, without repeats."""
        return list(dict.fromkeys(itertools.chain(*self.riders_in_variants.values())))

    @functools.cached_property
    def named_variants(self) -> dict[str, Rider]:
        """Riders with a ride, first all as described, then all in each variant, by name."""
        ways = self.riders_in_variants
        own = dict.fromkeys(ride.rider_name for ride in self.rides)
        named = {name: ways[name][0] for name in own}
        for place, variant in enumerate(self.balance_variants, start=1):
            named |= {f"{name} ({variant})": ways[name][place] for name in own}
        return named

    @property
    def described_rides(self) -> tuple[Ride, ...]:
        """The study's own rides, all on its board and with its riders as they are described.

        A course may change their numbers, and variants ride some; what is scored does not depend
        on that.
        """
        return tuple(
            dataclasses.replace(ride, board=self.board, rider=self.riders[ride.rider_name])
            for ride in self.rides
        )

    @property
    def all_rides(self) -> tuple[Ride, ...]:
        """The study's own rides, those of handling, and the hard rides where they are found."""
        return self.rides + self.handling + (() if self.hard is None else self.hard.rides)

    @property
    def n_rides(self) -> int:
        """Number of `all_rides`."""
        return len(self.rides) + len(self.handling) + (0 if self.hard is None else len(self.hard))

    @property
    def day_digest(self) -> str:
        """SHA-256 over what decides the rides of its riding day and how weak profiles ride them."""
        return digest(
            [
                self.seed,
                self.board,
                list(self.riders.items()),  # in turn
                list(self.balance_variants.items()),
                self.baseline,
                self.riding_day,
                self.tolerances,
            ]
        )

    @functools.cached_property
    def digest(self) -> str:
        """SHA-256 over all that decides the results, with the catalogue's entries filled in.

        The title, the folder, the number of candidates, the weights and the device are left out: a
        study may be renamed, moved and extended, its candidates weighed anew, and ridden elsewhere.
        """
        return digest(self.deciding)

    @property
    def deciding(self) -> dict[str, Any]:
        """All that decides the results, by name."""
        content = {name: getattr(self, name) for name in _DECIDING}
        content["rides"] = [
            [ride.name, ride.noise_seed, *self._other_numbers(ride)] for ride in self.rides
        ]
        content["riding_day"] = [self.riding_day, self.tolerances]
        content["handling"] = [[ride.course, ride.name, ride.noise_seed] for ride in self.handling]
        return content
