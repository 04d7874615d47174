"""How long PyYAML's loader on libyaml needs just to load documents, and nothing else.

``python -m tests.benchmarks.libyaml LOOKS FILE ...`` writes seconds of the processor and the peak
of memory in MiB to standard error, as JSON. LOOKS is how many new values Python waits for before
it looks for garbage; 700 is its own way. This process imports nothing of the tool.
"""

import gc
import json
import resource
import sys
from pathlib import Path
from time import process_time

import yaml


def main() -> None:
    """Load each file and print what it took."""
    gc.set_threshold(int(sys.argv[1]), *gc.get_threshold()[1:])
    start = process_time()
    for name in sys.argv[2:]:
        with Path(name).open("rb") as file:
            yaml.load(file, Loader=yaml.CSafeLoader)
    seconds = process_time() - start
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    sys.stderr.write(json.dumps({"seconds": seconds, "mib": peak}) + "\n")


if __name__ == "__main__":
    main()
