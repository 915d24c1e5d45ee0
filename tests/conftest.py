"""Give numpy one thread before anything imports it, as the command line does."""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
