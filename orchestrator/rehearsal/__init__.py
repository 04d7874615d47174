"""The real run on simulated devices, many times over, before the night.

What is simulated is made of the survey: each unit begins as it was found, takes as long to answer
as it took then, and behaves as its traits say. The machine that is driven is the one that drives
real devices. A judge looks on who knows the safety rules, and neither the sequence's making nor
its proof. Nothing is sent to anybody, and no ledger is written.
"""
