"""The search: proposes profiles, has them ridden, stores every outcome and picks from the front."""
