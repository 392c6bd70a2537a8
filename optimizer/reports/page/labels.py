"""What the page calls each column, in words, with its unit."""

from optimizer.reports.style import OBJECTIVE_LABELS, PICK_STYLE, RIDE_COST_LABELS
from plant.linear.balance_loop import GAIN_POINTS

# The page's own column: the loop's stiffness at level.
NEAR_LEVEL = "stiffness_near_level_a_per_deg"

LABELS = {
    **OBJECTIVE_LABELS,
    **RIDE_COST_LABELS,
    "weighted_cost_ratio": "weighted cost / baseline 1",
    "feel_deg_per_mps2": "pitch per acceleration / deg per m/s²",
    NEAR_LEVEL: "stiffness near level / A per deg",
    "rider_spread_ratio": "rider spread, lightest to heaviest / 1",
    "rides_ended": "rides that ended early / number",
    "vibration_mps2": "weighted vibration / m/s²",
    "energy_wh": "energy of a ride / Wh",
    "warned_ratio": "share of time warned / 1",
    "mosfet_peak_c": "hottest MOSFET / °C",
    "tail_effort_ratio": "tail effort over what the rider can press / 1",
    "start_jerk_mps3": "start jerk / m/s³",
    "traction_peak_ratio": "largest traction demand / 1",
}

CONSTRAINT_LABELS = {
    "nose_down": "no ride ends nose down",
    "other_end": "no ride ends early otherwise",
    "sensitivity": "largest sensitivity of the loop",
    "phase_margin": "phase margin",
    "gain_margin": "gain margin",
    "closed_loop": "stable linearised loop",
    "rest_shake": "no shaking at rest",
    "feel_band": "pitch per acceleration in its band",
    "rider_spread": "spread between riders",
    "warned": "share of time warned",
}

GAIN_POINT_LABELS = dict(
    zip(GAIN_POINTS, ("near level", "beyond the inner band", "lifted on a hill"), strict=True)
)

_SYMBOLS = {"o": "circle", "s": "square", "^": "triangle-up", "v": "triangle-down", "D": "diamond"}

# Colour and marker of each pick, as in the figures.
PICK_MARKS = {name: [color, _SYMBOLS[marker]] for name, (color, marker) in PICK_STYLE.items()}
