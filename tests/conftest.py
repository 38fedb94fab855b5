"""Settings for property tests, the same everywhere and without a clock; and no settings of the user's."""

import pytest
from hypothesis import HealthCheck, settings

settings.register_profile(
    "project", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("project")


@pytest.fixture(scope="session", autouse=True)
def settings_of_nobody(tmp_path_factory):
    """The user's settings lie in an empty folder while tests run."""
    with pytest.MonkeyPatch.context() as patch:
        for name in ("XDG_CONFIG_HOME", "APPDATA"):
            patch.setenv(name, str(tmp_path_factory.mktemp("settings")))
        yield
