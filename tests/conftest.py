"""What all tests share: how hard Hypothesis tries.

TAPEHOOK_HYPOTHESIS picks a profile: ``default`` (a person at work), ``ci`` (the same on every run, so that a
red build means a change) or ``thorough`` (many more examples, for the night before a release).
"""

import os

from hypothesis import HealthCheck, settings

settings.register_profile("default", max_examples=100, deadline=None)
settings.register_profile("ci", max_examples=100, deadline=None, derandomize=True, print_blob=True)
settings.register_profile(
    "thorough", max_examples=5_000, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile(os.environ.get("TAPEHOOK_HYPOTHESIS") or ("ci" if os.environ.get("CI") else "default"))
