"""How a test says a figure that people should see: the fixture ``tell`` of ``conftest``."""

from collections.abc import Callable

Tell = Callable[[str], None]
