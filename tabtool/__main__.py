"""``python -m tabtool``."""

import sys

from tabtool.cli import main

sys.exit(main())
