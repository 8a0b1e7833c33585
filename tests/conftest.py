"""One Hypothesis profile for every test: no time limits, since machines differ, and a blob to replay by."""

from hypothesis import settings

settings.register_profile("lampblack", deadline=None, print_blob=True)
settings.load_profile("lampblack")
