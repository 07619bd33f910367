"""What schemathesis is told besides the description: what is no fault, and what is one besides its own checks."""

import exceptions  # noqa: F401
import innards  # noqa: F401
