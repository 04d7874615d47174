"""What a finished run made true, written into the plan as a person would: only there.

Comments, order and quotes stay. Before the file is replaced, the new text is read like any plan
and compared with the old plan so edited; what does not come out as meant is not written.
"""

from collections.abc import Sequence
from io import StringIO
from pathlib import Path

from ruamel.yaml import YAML
from ruamel.yaml.comments import CommentedMap
from ruamel.yaml.util import load_yaml_guess_indent

from orchestrator.documents.adopt_edits import make_all
from orchestrator.documents.files import replace_text
from orchestrator.documents.kept_lines import with_kept_lines
from orchestrator.documents.places import PLAN_FILE
from orchestrator.documents.plans.plan_reader import read_plan
from orchestrator.errors import CallError, DocumentError, Problem
from orchestrator.facility.edit import Edit, edited

_WIDEST = 100_000  # never break a line that a person kept in one piece
_BOM = "\ufeff"


def adopt(plan_file: Path, edits: Sequence[Edit]) -> str:
    """Write ``edits`` into the plan and say what was written, one line each.

    Raises:
        DocumentError: the plan can't be read, or would not come out as meant; it is unchanged.
        CallError: an edit names a device that the plan does not have, or the file can't be
            written.
    """
    data = _bytes(plan_file)
    before = read_plan(data, PLAN_FILE)
    for edit in edits:
        if edit.device not in before.devices:
            raise CallError(f"the plan has no device '{edit.device}'", "add it to the plan first")
    meant = edited(before, edits)
    if meant == before:
        return "nothing to write: the plan says all of it already"
    text, said = _rewritten(data.decode("utf-8"), edits)
    try:
        after = read_plan(text.encode(), PLAN_FILE)
    except DocumentError as error:
        raise _not_as_meant(error.problems) from None
    if after != meant:
        raise _not_as_meant(())
    replace_text(plan_file, text)
    return "\n".join(said)


def _bytes(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise CallError(f"{path} can't be read: {error.strerror}", "check the path") from None


def _rewritten(text: str, edits: Sequence[Edit]) -> tuple[str, list[str]]:
    """The plan's text with the edits made, and what they changed."""
    mark = _BOM if text.startswith(_BOM) else ""
    crlf = "\r\n" in text
    plain = text.removeprefix(_BOM).replace("\r\n", "\n")
    yaml = _round_trip(plain)
    document: CommentedMap = yaml.load(plain)
    unedited = _dumped(yaml, document)
    said = make_all(document, edits)
    new = with_kept_lines(plain, unedited, _dumped(yaml, document))
    return mark + (new.replace("\n", "\r\n") if crlf else new), said


def _round_trip(text: str) -> YAML:
    yaml = YAML(typ="rt", pure=True)
    yaml.preserve_quotes = True
    yaml.width = _WIDEST
    _, indent, offset = load_yaml_guess_indent(text)
    yaml.indent(mapping=2, sequence=(indent or 2) if offset else 2, offset=offset or 0)
    if offset is None:
        yaml.indent(mapping=indent or 2)
    return yaml


def _dumped(yaml: YAML, document: CommentedMap) -> str:
    stream = StringIO()
    yaml.dump(document, stream)
    return stream.getvalue()


def _not_as_meant(problems: Sequence[Problem]) -> DocumentError:
    what = "what the run made true can't be written into the plan as it is laid out"
    fix = "change the plan by hand; it was left as it is"
    return DocumentError([Problem(PLAN_FILE, 0, 0, what, fix), *problems])
