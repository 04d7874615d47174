"""What is kept beside the ledger: the states of before, in the run's folder and on another disk.

They are as-found files, so that a dry-run at a desk can be made from them, and a person can read
what every device held. All of it is on disk when the call returns, before the first write.
"""

from collections.abc import Mapping
from pathlib import Path

from orchestrator.actions.kept.notes import notes_path
from orchestrator.documents.as_found import write_as_found
from orchestrator.documents.configuration import write_configuration
from orchestrator.errors import CallError
from orchestrator.facility.configuration import Configuration
from orchestrator.facility.found import AsFound
from orchestrator.running.record import RunRecord


def states_path(folder: Path, run: str) -> Path:
    """Where the states of before lie, beside the notes of a run."""
    return notes_path(folder, run).with_name("as-found-before.json")


def configuration_path(folder: Path, run: str, device: str) -> Path:
    """Where the whole configuration of a device lies, beside the notes of a run."""
    return notes_path(folder, run).with_name(f"configuration-{device}.json")


def notes_places(folder: Path, run: str, copy: Path | None) -> tuple[Path, ...]:
    """Where the rollback notes of a run are kept: in its folder, and in ``copy`` if there is one.

    Each run has files of its own there, so that one folder serves for every run.
    """
    copies = (copy / f"rollback-notes-{run}.md",) if copy is not None else ()
    return (notes_path(folder, run), *copies)


def keep_states(record: RunRecord, folder: Path, copy: Path | None) -> None:
    """Put the states of before on disk, in the run's folder and in ``copy`` if there is one.

    Raises:
        CallError: a place can't be written.
    """
    before = AsFound(facility=record.facility, taken_at=record.made_at, devices=record.before)
    places = [states_path(folder, record.id)]
    if copy is not None:
        places.append(copy / f"as-found-before-{record.id}.json")
    for path in places:
        _make_room(path)
        write_as_found(path, before)


def keep_configurations(
    run: str, configurations: Mapping[str, Configuration], folder: Path, copy: Path | None
) -> None:
    """Put whole configurations on disk, in the run's folder and in ``copy`` if there is one.

    Raises:
        CallError: a place can't be written.
    """
    for device, configuration in configurations.items():
        places = [configuration_path(folder, run, device)]
        if copy is not None:
            places.append(copy / f"configuration-{device}-{run}.json")
        for path in places:
            _make_room(path)
            write_configuration(path, configuration)


def _make_room(path: Path) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise CallError(
            f"{path.parent} can't be made: {error.strerror or error}",
            "name a folder that you may write to; nothing was written to a device",
        ) from None


def same_disk(folder: Path, copy: Path) -> bool:
    """Whether ``copy`` lies on the disk that the facility lies on."""
    return copy.stat().st_dev == folder.stat().st_dev
