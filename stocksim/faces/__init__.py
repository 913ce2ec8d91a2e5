"""What people see."""

import os

# Each face is a process of its own, and our matrices are small: threads of linear algebra, and a look through all that
# is installed for plugins that nobody here uses, cost a command more than they give.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
