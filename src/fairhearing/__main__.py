"""``python -m fairhearing`` is the same as the command ``fairhearing``."""

import sys

from fairhearing.cli import main

sys.exit(main())
