"""Property tests of the core: the same cases in every run, and no clock."""

from hypothesis import settings

settings.register_profile("core", derandomize=True, deadline=None)
settings.load_profile("core")
