"""A kit that tries any adapter on a device: what each has to do, and what it must never do.

For whoever writes a plug-in, and for our own ways to speak. Make a :class:`Bench` (a device on the
bench, real or simulated, and how to make its life hard) and a class of tests::

    class TestFulmar(Conformance):
        def bench(self) -> AbstractContextManager[Bench]:
            return my_bench()

pytest, or unittest's runner by way of pytest, does the rest. A trouble that a bench can't cause
(``NotImplementedError``) is passed over as skipped, in so many words.
"""

from orchestrator.adapters.conformance.bench import Bench, Trouble
from orchestrator.adapters.conformance.kit import Conformance

__all__ = ["Bench", "Conformance", "Trouble"]
