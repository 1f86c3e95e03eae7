"""``python -m tbmreview`` is ``tbmreview``."""

import sys

from tbmreview.cli import main

sys.exit(main())
