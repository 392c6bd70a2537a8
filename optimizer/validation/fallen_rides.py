"""The drawn rides of a riding day in which the nose went down, as courses of a study file."""

from optimizer.study.course_text import CourseTableText, course_table
from optimizer.study.study import Study
from optimizer.validation.nose_down_rate import DayCount, rides_at

MOST_WRITTEN = 20  # rides: a study of many more would be about nothing else


def fallen_courses(study: Study, day: DayCount) -> dict[str, CourseTableText]:
    """Return the first rides of a day in which the nose went down, as courses by name.

    Each gives the same ride again, with its rider, board and noise.

    Parameters
    ----------
    study : Study
    day : DayCount
        What a profile rode.
    """
    places = day.nose_downs[:MOST_WRITTEN]
    rides = rides_at(study, places) if places else []
    return {
        f"fall_{ride.course.name}_{lane}": course_table(
            ride, board=study.board, rider=study.riders[ride.rider_name]
        )
        for (_, lane), ride in zip(places, rides, strict=True)
    }
