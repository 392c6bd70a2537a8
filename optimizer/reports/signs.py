"""Colours, marks and labels that figures and the study page share."""

# Okabe & Ito 2008: eight colours distinct to colour-blind readers.
BLACK, ORANGE, SKY, GREEN, BLUE, VERMILION, PURPLE = (
    "#000000",
    "#E69F00",
    "#56B4E9",
    "#009E73",
    "#0072B2",
    "#D55E00",
    "#CC79A7",
)
PICK_STYLE = {
    "balanced": (VERMILION, "o"),
    "calmest_level": (BLUE, "s"),
    "lowest_current": (GREEN, "^"),
    "fewest_nose_downs": (PURPLE, "v"),
    "lowest_cost": (ORANGE, "D"),
}
OBJECTIVE_LABELS = {
    "level_error_deg": "level error / deg",
    "excess_current_a": "peak current beyond the ride's need / A",
    "nose_downs_per_1000_km": "nose-downs / (1,000 km), worst rider weighted up",
}
# Numbers on logarithmic axes, for they differ by powers of ten, and the least that is drawn of
# each: rates below say that no hard ride was near a fall.
LEAST_DRAWN = {"nose_downs_per_1000_km": 1e-4}
RIDE_COST_LABELS = {
    **{name: OBJECTIVE_LABELS[name] for name in ("level_error_deg", "excess_current_a")},
    "nose_down_risk": "graded nose-down risk / 1",
}
