"""Settings for property tests: the same examples on every machine, and no clock."""

from hypothesis import HealthCheck, settings

settings.register_profile(
    "project", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("project")
