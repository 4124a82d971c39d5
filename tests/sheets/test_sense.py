"""What is well formed but cannot be: a machine's further bodies."""

from typing import Any

from matchvision.sheets.sense import check_sense

BODY = {"name": "ram", "mass_kg": 0.5, "size_m": [0.1, 0.1, 0.1], "at_m": [0.2, 0.0, 0.05]}


def faults_of(machine: dict[str, Any]) -> list[str]:
    return [".".join(map(str, fault.key)) for fault in check_sense({"machine": {"heron": machine}})]


def test_further_bodies_are_parts_of_a_machine_that_is_stated() -> None:
    sound = {"home": "+x", "mass_kg": 2.5, "size_m": [0.28, 0.23, 0.12], "body": [BODY]}
    assert faults_of(sound) == []
    assert faults_of({"home": "+x", "body": [BODY]}) == ["machine.heron.mass_kg", "machine.heron.size_m"]
    assert faults_of(sound | {"mass_kg": 0.9, "body": [BODY, BODY]}) == ["machine.heron.body"]
