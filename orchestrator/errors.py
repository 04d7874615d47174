"""Every error that Cutsheet raises on purpose, and the one place that puts them into words.

::

    CutsheetError
    ├── DocumentError        a document is wrong                        exit 3
    │     └── carries Problem(s): file, line, column, what, fix
    ├── DeviceError          a device, or the way to it, is wrong       exit 4
    │     ├── Unreachable    nothing answered
    │     ├── Untrusted      its certificate is not to be trusted: nothing was sent
    │     ├── SignInRefused  401 or 403
    │     ├── Rejected       4xx, with the device's own words
    │     ├── OtherHand      412: another hand changed it since it was read
    │     ├── Busy           423, 429 or 503, with its Retry-After
    │     ├── Broken         5xx, or an answer that makes no sense
    │     ├── OutcomeUnknown a write was sent; no answer says what became of it
    │     ├── PartlyRefused  of several steps in one request, these were not done
    │     └── WrongDevice    somebody else answers there
    └── CallError            the call was wrong                         exit 2
          ├── NoSecret       a credential's name has no secret behind it
          ├── PlugInBroken   a plug-in can't be used
          └── LedgerError    the ledger can't be used as asked

Errors carry data; :func:`words` turns one into text. No traceback reaches a user.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

EXIT_DONE = 0
EXIT_FOUND = 1
EXIT_CALL = 2
EXIT_DOCUMENT = 3
EXIT_DEVICE = 4


class CutsheetError(Exception):
    """The root: whatever is raised on purpose. ``exit_status`` is what the command ends with."""

    exit_status = EXIT_CALL


@dataclass(frozen=True, slots=True, order=True)
class Problem:
    """One thing wrong in a document: where it stands, what it is, and how to mend it.

    ``line`` and ``column`` count from 1; 0 means that the place is the file as a whole.
    ``excerpt`` is the source line as it stands in the file, without its line break.
    """

    file: str
    line: int
    column: int
    what: str
    fix: str
    excerpt: str = ""


class DocumentError(CutsheetError):
    """One or more documents are wrong; all that was found is reported at once."""

    exit_status = EXIT_DOCUMENT

    def __init__(self, problems: Sequence[Problem]) -> None:
        self.problems = tuple(sorted(set(problems)))
        super().__init__(f"{len(self.problems)} problem(s) in the documents")


@dataclass
class DeviceError(CutsheetError):
    """A device, or the way to it, is wrong.

    ``device`` is its name in the plan, ``address`` where it was spoken to (``host`` or
    ``host:port``), ``doing`` what was being done in words ("reading sources"), ``said`` the
    device's or the network's own words with every secret removed.
    """

    device: str
    address: str
    doing: str
    said: str = ""

    exit_status = EXIT_DEVICE

    def __post_init__(self) -> None:
        super().__init__(self.device, self.address, self.doing, self.said)


class Unreachable(DeviceError):
    """Nothing answered: no connection was made, so nothing was changed."""


@dataclass
class Untrusted(DeviceError):
    """Its certificate is not to be trusted, so nothing was sent.

    ``presented`` and ``trusted`` are fingerprints (SHA-256), where one of a certificate was
    confirmed or is to be.
    """

    presented: str = ""
    trusted: str = ""
    fix: str = ""


class SignInRefused(DeviceError):
    """The device refused the sign-in (401) or the right to do this (403)."""


@dataclass
class Rejected(DeviceError):
    """The device refused the request itself (other 4xx): sending it again changes nothing."""

    status: int = 0


class OtherHand(DeviceError):
    """What was to be changed is no longer as it was read (412): nothing was overwritten."""


@dataclass
class Busy(DeviceError):
    """The device asks for patience (423, 429, 503); ``retry_after_s`` if it said how long."""

    retry_after_s: float | None = None


class Broken(DeviceError):
    """The device failed (5xx) or answered nonsense. A write may or may not have landed."""


class OutcomeUnknown(DeviceError):
    """A write was sent and no whole answer came back: only reading can tell what became of it."""


@dataclass
class PartlyRefused(DeviceError):
    """Of several steps in one request some were not done, or may not have been.

    ``refused``: each of those steps, by its id, with what became of it; the others were accepted.
    """

    refused: Mapping[str, DeviceError] = field(default_factory=dict)


@dataclass
class WrongDevice(DeviceError):
    """Somebody else answers at that address: nothing may be written to it."""

    expected: str = ""
    found: str = ""


class CallError(CutsheetError):
    """The call was wrong: ``what`` and ``fix`` say so in words."""

    def __init__(self, what: str, fix: str = "") -> None:
        self.what = what
        self.fix = fix
        super().__init__(what)


class NoSecret(CallError):
    """A credential's name has no secret behind it, or the keyring can't be used."""


class PlugInBroken(CallError):
    """A plug-in can't be loaded or used; the error names its package."""


class LedgerError(CallError):
    """The ledger can't be used as asked: locked, damaged, or of a newer make."""


@dataclass(frozen=True, slots=True)
class Words:
    """An error as a person reads it: one line that says what and where, and what to do."""

    what: str
    fix: str
    more: tuple[str, ...] = field(default=())


_FIXES: dict[type[DeviceError], str] = {
    Unreachable: "check power, cable, VLAN and the address in the plan; then run it again",
    Untrusted: "find out which unit that is, and see 'tls' in the plan",
    SignInRefused: "check the secret with 'cutsheet credential test', or set it with "
    "'cutsheet credential add'",
    Rejected: "read the device's words above; the wanted value or the device description is wrong",
    OtherHand: "find out who else works on the device; then survey again, and plan anew",
    Busy: "wait and run it again; another person or program may be working on the device",
    Broken: "look at the device itself; if it is well, correct its device description",
    OutcomeUnknown: "run 'cutsheet resume': it reads the device before it does anything else",
    PartlyRefused: "read what became of each step; those that were not done can be tried again",
    WrongDevice: "find out which unit that is before anything is written; correct the plan or "
    "the cable",
}

_SAYS: dict[type[DeviceError], str] = {
    Unreachable: "does not answer",
    Untrusted: "shows a certificate that is not trusted",
    SignInRefused: "refused the sign-in",
    Rejected: "refused the request",
    OtherHand: "was changed by another hand",
    Busy: "asks to wait",
    Broken: "gave an answer that can't be used",
    OutcomeUnknown: "was sent a change and did not say what became of it",
    PartlyRefused: "did only a part of what one request asked for",
    WrongDevice: "is not the device meant",
}


def words(error: CutsheetError) -> Words:
    """Put ``error`` into words: what and where first, then the fix."""
    match error:
        case DocumentError(problems=problems):
            return Words(
                f"{len(problems)} problem{'s' if len(problems) != 1 else ''} in the documents",
                "mend the places named, then run 'cutsheet check'",
                tuple(problem_words(problem) for problem in problems),
            )
        case WrongDevice():
            return Words(
                f"{error.device} at {error.address}: expected {error.expected}, "
                f"but {error.found} answers",
                _FIXES[WrongDevice],
            )
        case DeviceError():
            kind = type(error)
            said = f" ({error.said})" if error.said else ""
            patience = ""
            own = ""
            if isinstance(error, Untrusted):
                own, said = error.fix, f" ({error.said}{_fingerprints(error)})"
            if isinstance(error, Busy) and error.retry_after_s is not None:
                patience = f", for {error.retry_after_s:g} s"
            return Words(
                f"{error.device} at {error.address} {_SAYS.get(kind, 'failed')}{patience}, "
                f"while {error.doing}{said}",
                own or _FIXES.get(kind, "look at the device"),
            )
        case CallError():
            return Words(error.what, error.fix)
        case _:
            return Words(str(error), "")


def _fingerprints(error: Untrusted) -> str:
    """Both fingerprints, as far as there are such, for a person to compare."""
    before = f"; confirmed was {_halves(error.trusted)}" if error.trusted else ""
    return f"{before}; its SHA-256 is {_halves(error.presented)}" if error.presented else ""


def _halves(fingerprint: str) -> str:
    """A fingerprint with a space in the middle, where a line may be broken."""
    half = len(fingerprint) // 2
    return f"{fingerprint[:half]} {fingerprint[half:].lstrip(':')}"


def problem_words(problem: Problem) -> str:
    """Word one document problem: place, what, the source line with a pointer, the fix."""
    place = problem.file
    if problem.line:
        place += f":{problem.line}:{problem.column}"
    lines = [f"{place}: {problem.what}"]
    if problem.excerpt:
        lines.append(f"    {problem.excerpt}")
        lines.append("    " + " " * (problem.column - 1) + "^")
    if problem.fix:
        lines.append(f"    fix: {problem.fix}")
    return "\n".join(lines)
