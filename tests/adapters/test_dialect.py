from orchestrator.adapters.declared.dialect import Declared
from orchestrator.adapters.dialect import Dialect
from tests.adapters.makes import PARTY, TAMARISK


def test_a_device_description_is_a_dialect() -> None:
    """The declared dialect fulfils the protocol (the type checker holds it), traits included."""
    dialect: Dialect = Declared(TAMARISK, PARTY)
    assert dialect.traits is TAMARISK.traits
