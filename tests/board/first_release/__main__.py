"""`python -m tests.board.first_release` makes settings.json."""

import json

from tests.board.first_release import SETTINGS, make

SETTINGS.write_text(json.dumps(make(), indent=1) + "\n", "utf-8")
