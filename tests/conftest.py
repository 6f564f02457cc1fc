"""One BLAS thread, as the command line sets it; what tests start hears Ctrl-C."""

import os
import signal
import tempfile

# Small batched solves only lose by more threads.
for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")

# A shell starts work in the background deaf to Ctrl-C, and so would be all that it starts.
if signal.getsignal(signal.SIGINT) == signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)

# Nobody's own notebook has a say in what the tests see.
os.environ.setdefault("JARSIGHT_DATA", tempfile.mkdtemp(prefix="jarsight-tests-"))
