"""Constants that more than one part of the plant, or anything above it, reckons with."""

GRAVITY_MPS2 = 9.80665  # ISO 80000-3, standard acceleration of free fall
AIR_DENSITY_KG_M3 = 1.2250  # ISO 2533, standard atmosphere at sea level
COPPER_PER_K = 0.00393  # IEC 60028, annealed copper's resistance, per K at 20 degC
COPPER_REFERENCE_C = 20.0  # IEC 60028, where that coefficient holds
AMBIENT_C = 25.0  # assumed: a warm day
DT_S = 0.001  # assumed: the controller's period, 1 kHz
DEG_PER_RAD = 57.29577951308232  # 180 / pi, ISO 80000-3
WARNING_PERCEIVED_DEG = 1.0  # assumed: nose lift from which a rider perceives a warning
