"""Artefacts in the ledger come back as they went in."""

import dataclasses
import json

import pytest

from building.artefact import artefact
from dryfit.app.artefact_records import ARTEFACT, artefact_from, artefact_payload, recorded_artefacts
from dryfit.base.errors import LedgerRefused
from dryfit.store.ledger import open_ledger


def test_through_the_ledger_and_back(tmp_path):
    first, second = artefact("tall"), dataclasses.replace(artefact("tall"), hours=12.5, plan=())
    with open_ledger(tmp_path / "ledger.db") as ledger:
        for item in (first, artefact("desk"), second):
            ledger.append(ARTEFACT, artefact_payload(item))
        ledger.append("forecast", {})
        found = recorded_artefacts(ledger.records(), "tall")
    assert [(item.record, item.artefact) for item in found] == [(1, first), (3, second)]


def test_a_key_of_a_newer_program_is_left_alone():
    payload = json.loads(json.dumps(artefact_payload(artefact())))
    payload["colour"] = "white"
    payload["measures"][0]["tag"] = 1
    assert artefact_from(payload) == artefact()


@pytest.mark.parametrize("damage", [("size_mm", [1.0]), ("measures", [{}]), ("plan", 3)])
def test_a_damaged_record_is_refused(damage):
    key, value = damage
    with pytest.raises(LedgerRefused, match="cannot be read"):
        artefact_from({**artefact_payload(artefact()), key: value})
    lacking = artefact_payload(artefact())
    del lacking[key]
    with pytest.raises(LedgerRefused, match="cannot be read"):
        artefact_from(lacking)
