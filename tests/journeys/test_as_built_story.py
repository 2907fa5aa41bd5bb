"""The demonstration goes on: ribs come off the bed, one is off, the cheapest remedy, a dimension changes, the price.

End to end by the command line, on the invented observatory some weeks later.
"""

import pytest

from support.command import run, run_json

PRINTED = ["rib-12", "rib-1", "rib-2", "rib-3", "rib-4"]
RISK = 0.05

pytestmark = pytest.mark.slow


def dryfit(*arguments):
    """Exit status and what --json printed; nothing is refused in this story."""
    status, plain = run_json(*arguments)
    assert status in (0, 1), plain
    return status, plain


@pytest.fixture(scope="module")
def story(tmp_path_factory):
    folder = tmp_path_factory.mktemp("story") / "demo"
    told = {"demo": dryfit("demo", folder, "--as-built"), "prints": dryfit("printed", "--project", folder)}
    told["four"] = dryfit("forecast", folder)
    told["read"] = dryfit("read", "rib-4", folder, "--csv", folder / "invented-readings-rib-4.csv")
    told["five"] = dryfit("forecast", folder)
    told["remedies"] = dryfit("remedy", "rib-4", folder)
    told["taken"] = dryfit("remedy", "rib-4", folder, "--take", 1, "--because", "the cheapest")
    record = told["taken"][1]["taken"]["record"]
    told["done"] = dryfit("remedy", "rib-4", folder, "--done", record)
    told["shimmed"] = dryfit("forecast", folder)
    told["nothing yet"] = dryfit("changes", "--project", folder)
    sized = ("--value", "600 mm", "--std", "2 mm", "--source", "invented: a rule")
    add = ("observation", "add", "shutter-rib.rule", "--project", folder)
    dryfit(*add, "--of", "shutter-rib.width", *sized)
    why = "drawn before the shutter was rebuilt"
    told["schedule"] = dryfit("schedule", folder, "--without", "shutter-rib.engraving", "--because", why)
    told["changes"] = dryfit("changes", "--project", folder)
    told["price"] = run("changes", "--project", folder).stdout
    return told


def at_risk(report):
    return {item["id"] for item in report["characteristics"] if item["p_out"] > RISK}


def by_id(rows):
    return {row["id"]: row for row in rows}


def test_five_of_twelve_ribs_are_printed_from_release_a(story):
    _, report = story["prints"]
    assert [item["part"] for item in report["prints"]] == PRINTED
    assert {item["release"] for item in report["prints"]} == {"A"}
    assert sum(part.startswith("rib-") for part in report["not_printed"]) == 7


def test_the_forecast_narrows_with_the_readings_of_four_ribs(story):
    status, report = story["four"]
    assert status == 0
    now, then = by_id(report["characteristics"]), by_id(report["prior"])
    # But for a flatness, which is a range: it spreads by where its points lie, too.
    straight = [id for id in now if now[id]["kind"] != "flatness"]
    assert all(now[id]["std"] <= then[id]["std"] * (1 + 1e-9) for id in straight)
    for id in ("ring-closure", "wall-gap-6"):
        assert then[id]["p_out"] > 0.2 > RISK > now[id]["p_out"], id
        assert now[id]["std"] < 0.6 * then[id]["std"], id
    # The ring is not printed: only what the ribs tell of the machine can have helped it.
    assert "tall.skew_xy_deg" in {item["name"] for item in report["as_built"]["figures"]}
    assert not any(item["part"].startswith("ring-") for item in story["prints"][1]["prints"])


def test_one_part_is_off_and_named(story):
    status, report = story["five"]
    assert status == 1
    assert at_risk(report) == {"crown-level-y", "crown-seats"}
    seats = by_id(report["characteristics"])["crown-seats"]
    # rib-4 alone came from the machine that was lent.
    assert seats["contributions"][0]["source"].startswith("lent.")
    assert report["as_built"]["suspects"] == []


def test_what_the_readings_say_of_the_lent_machine_is_true(story):
    """Its belts are invented: 0.51 and 0.49 % short, which one length along the diagonal cannot tell apart."""
    _, report = story["five"]
    found = {item["name"]: item for item in report["as_built"]["figures"]}
    both = sum(found[f"lent.scale_{axis}"]["after"] for axis in "xy")
    assert both == pytest.approx(-0.0100, abs=0.0005)


def test_the_cheapest_remedy_that_meets_the_risk_is_a_shim(story):
    _, report = story["remedies"]
    meeting = [item for item in report["remedies"] if item["meets_risk"]]
    first = report["remedies"][0]
    assert first["kind"] == "shim"
    assert first["meets_risk"]
    assert first["worst_p_out"] <= RISK
    assert len(meeting) > 1, "there is something to choose from"
    assert first["minutes"] == min(item["minutes"] for item in meeting)
    again = next(item for item in meeting if item["kind"] == "reprint corrected")
    assert again["hours"]["value"] == story["prints"][1]["prints"][-1]["hours"]


def test_the_remedy_done_brings_every_characteristic_within_the_risk(story):
    status, report = story["shimmed"]
    assert status == 0
    assert at_risk(report) == set()
    promised = {row["id"]: row["p_out_after"] for row in story["remedies"][1]["remedies"][0]["outcomes"]}
    now = by_id(report["characteristics"])
    for id, after in promised.items():
        assert now[id]["p_out"] == pytest.approx(after, abs=0.01), id


def test_a_change_that_touches_nothing_printed_says_so(story):
    status, report = story["nothing yet"]
    assert status == 0
    assert "nothing printed is touched" in report["verdict"]
    assert not [row for row in report["printed"] if row["state"] == "lost"]


def test_the_price_of_the_dimension_is_the_sum_of_the_lost_prints(story):
    status, report = story["changes"]
    assert status == 1
    lost = {row["part"]: row for row in report["printed"] if row["state"] == "lost"}
    assert set(lost) == {"rib-1", "rib-12"}
    prints = {item["part"]: item for item in story["prints"][1]["prints"]}
    for part, row in lost.items():
        for amount in ("hours", "grams"):
            assert row[amount]["value"] == prints[part][amount]
    hours, grams = (sum(prints[part][amount] for part in lost) for amount in ("hours", "grams"))
    assert f"Lost: {hours:g} h, {grams:g} g." in story["price"]
