"""The proof of the safety rules. It imports nothing of the code that makes sequences."""
