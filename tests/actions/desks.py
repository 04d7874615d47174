"""A desk over a stage, and people and reporters for it."""

from collections.abc import Sequence

from orchestrator.actions.apply import Attendance
from orchestrator.actions.desk import Desk, open_desk
from orchestrator.cli.connect_map import read_connect_file
from orchestrator.credentials import Credentials
from tests.actions.acted import Person, Reporter
from tests.cli.stage import SECRETS, Stage


def desk_of(stage: Stage) -> Desk:
    """The desk of the stage's facility; it can be opened again after its documents changed."""
    secrets = Credentials(SECRETS).get
    return open_desk(stage.folder, secrets=secrets, connect=read_connect_file(stage.map))


class Agreeing(Person):
    """Says go to all but the questions that it is told to refuse."""

    def __init__(self, *refused: str) -> None:
        super().__init__()
        self.refused = refused

    async def ask(self, question: str, text: Sequence[str]) -> tuple[bool, str]:
        """Answer."""
        await super().ask(question, text)
        return question not in self.refused, "M. Okafor"


def attended(*refused: str) -> tuple[Attendance, Agreeing, Reporter]:
    """Who attends: somebody who agrees, and a reporter."""
    person, reporter = Agreeing(*refused), Reporter()
    return Attendance(person=person, reporter_for=lambda _r, _e: reporter), person, reporter
