"""Lines that a rewriting did not mean to touch, kept as they were written."""

from difflib import SequenceMatcher


def with_kept_lines(original: str, unedited: str, new: str) -> str:
    """``new``, with every line that is also in ``unedited`` as ``original`` has it.

    ``unedited`` is ``original`` written by the same writer without any edit, so that the two
    differ only in what the writer always does (spaces after a colon, in braces). Where their
    lines can't be paired, ``new`` is given as it is.
    """
    old_lines = original.splitlines(keepends=True)
    plain_lines = unedited.splitlines(keepends=True)
    new_lines = new.splitlines(keepends=True)
    if len(old_lines) != len(plain_lines):
        return new
    kept: list[str] = []
    matcher = SequenceMatcher(None, plain_lines, new_lines, autojunk=False)
    for kind, first, last, new_first, new_last in matcher.get_opcodes():
        kept += old_lines[first:last] if kind == "equal" else new_lines[new_first:new_last]
    return "".join(kept)
