"""What the page calls each column, in words, with its unit."""

from optimizer.reports.signs import OBJECTIVE_LABELS, PICK_STYLE, RIDE_COST_LABELS

LABELS = {
    **OBJECTIVE_LABELS,
    **RIDE_COST_LABELS,
    "weighted_cost_ratio": "weighted cost / baseline 1",
    "feel_deg_per_mps2": "pitch per acceleration / deg per m/s²",
    "braking_feel_deg_per_mps2": "pitch per braking / deg per m/s²",
    "grade_dip_deg": "nose dip where a climb of 10 % begins / deg",
    "bend_lift_deg": "nose lift in a bend at 45 deg/s / deg",
    "stiffness_nm_per_deg": "motor torque per pitch near level / N·m per deg",
    "climb_speed_ratio": "speed over demanded speed on climbs / 1",
    "rider_spread_ratio": "rider spread, lightest to heaviest / 1",
    "rides_ended": "aborted rides / number",
    "vibration_mps2": "weighted vibration / m/s²",
    "energy_wh": "energy of a ride / Wh",
    "warned_ratio": "share of time warned / 1",
    "mosfet_rise_k": "largest rise of the MOSFETs' temperature / K",
    "tail_effort_ratio": "tail effort over what the rider can press / 1",
    "start_jerk_mps3": "start jerk / m/s³",
    "traction_peak_ratio": "largest traction demand / 1",
}

CONSTRAINT_LABELS = {
    "nose_down": "no ride ends nose down",
    "other_end": "no ride is aborted otherwise",
    "sensitivity": "largest sensitivity of the loop",
    "phase_margin": "phase margin",
    "gain_margin": "gain margins, upper and lower",
    "closed_loop": "stable linearised loop",
    "rest_shake": "no standstill oscillation",
    "feel_band": "pitch per acceleration in its band",
    "rider_spread": "spread between riders",
    "warned": "share of time warned",
    "climb_speed": "speed on climbs",
    "late_warning": "warning before a rider leans too far",
    "handling_end": "no handling ride ends early",
    "handling": "handling as asked",
    "tolerances": "no more nose-downs within the tolerances than the best of the front",
}

_SYMBOLS = {"o": "circle", "s": "square", "^": "triangle-up", "v": "triangle-down", "D": "diamond"}

# Colour and marker of each pick, as in the figures.
PICK_MARKS = {name: [color, _SYMBOLS[marker]] for name, (color, marker) in PICK_STYLE.items()}
