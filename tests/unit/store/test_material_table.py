"""The table of plastics: order of magnitude and honesty about the source."""

import pytest

from dryfit.model.material_table import FAMILIES

# Wide ranges of unfilled plastics from general knowledge (memory, no book at hand): every polymer expands
# between 40 and 250 millionths per kelvin, and solid unfilled plastics weigh 0.85 to 1.45 g/cm3.
EXPANSION_PER_K = (40e-6, 250e-6)
DENSITY_G_PER_CM3 = (0.85, 1.45)


@pytest.mark.parametrize("row", FAMILIES.values(), ids=FAMILIES)
def test_values_are_those_of_a_polymer(row):
    assert EXPANSION_PER_K[0] < row.expansion_per_k.value < EXPANSION_PER_K[1]
    assert DENSITY_G_PER_CM3[0] < row.density_g_per_cm3.value < DENSITY_G_PER_CM3[1]
    assert row.expansion_per_k.std > 0
    assert row.glass_transition_c.std > 0


def test_order_in_heat():
    # What every user of the plastics knows: PLA softens first, then PETG, then ABS and ASA, PC last.
    glass = {name: row.glass_transition_c.value for name, row in FAMILIES.items()}
    assert glass["TPU"] < 0 < glass["PLA"] < glass["PETG"] < glass["ASA"] <= glass["ABS"] < glass["PC"]


def test_the_source_is_named_as_memory():
    assert all("from memory" in row.source.text and not row.source.seen for row in FAMILIES.values())
    assert set(FAMILIES) == {"PLA", "PETG", "ABS", "ASA", "PC", "PA", "TPU"}
