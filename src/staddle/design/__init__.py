"""What the engineer wants, as values: read, checked, described."""

import os

# At its first model pydantic looks through everything that is installed for plugins of its own. That takes longer than
# reading a design, and what others have installed has no business in judging one.
os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
