"""What every report and export says before anybody rides."""

CAUTIONS = (
    "These boards throw people. A fall at any speed can injure or kill.",
    "These numbers come from a simulation only; this is not a ride test, and a profile that looks"
    " good here can still hurt somebody.",
    "First rides are staged: slow, on level open ground, with helmet and guards, the grade, the"
    " speed and the rider's demands raised one at a time.",
    "Keep the maker's limits and protections; do not raise or switch off any of them.",
    "Local law decides whether and where such a board may be ridden.",
    "Work on the battery or on high-current wiring belongs to qualified people.",
)

# For a line under a table or a plot.
SHORT_CAUTION = "Simulation only, not a ride test. These boards throw people."
