"""The job card branch by branch: the demo with one change, and the resulting card or the reason for its refusal.

The figures are those of the invented demo, added up by hand here. The work itself is common practice of the trade, no
source. Wrenches are checked against ISO 6789-1:2017 (marked range) and the 2003 edition (a fifth of the maximum)."""

from typing import Any

import pytest

from app.catalogue.catalogue import Catalogue
from app.catalogue.tables import Damper, Fastener, Fit, Frame, Procedure, Row, Spring, Step, Torque, Use
from app.database.connections import Database
from app.errors import Fault, Invalid
from app.questions.job.job_card import JobCardAnswer, JobCardAsked, job_card
from app.units.quantity import to_set
from tests.questions.storing import store

HAAR = {"chassis": "lommeris-haar-42", "wheel_size": "622", "model_year": 2023}
UP = {**HAAR, "job": "travel-change", "from_travel": "180", "to_travel": "200"}
SERVICE = {**HAAR, "job": "full-service", "travel": "190"}
WHIMBREL = {"chassis": "pellugar-whimbrel-31", "job": "full-service", "travel": "120", "model_year": 2020}
TRIVET = {
    "chassis": "quembry-trivet-35", "variant": "quembry-trivet-35-run-two", "model_year": 2023, "wheel_size": "622",
    "damper": "quembry-sieve", "job": "travel-change",
}  # fmt: skip
CROCK = {"chassis": "quembry-crock-39", "model_year": 2023, "job": "travel-change"}
HEDDLE = {"chassis": "tarnoch-heddle-33-second", "wheel_size": "622", "damper": "tarnoch-pawl", "travel": "140"}


def card(catalogue: Catalogue, chassis: str, **given: Any) -> JobCardAnswer:
    with catalogue.snapshot() as snapshot:
        return job_card(snapshot, chassis, JobCardAsked(**given))


def refused(catalogue: Catalogue, chassis: str, **given: Any) -> list[Fault]:
    with pytest.raises(Invalid) as refusal:
        card(catalogue, chassis, **given)
    return refusal.value.faults


def texts(found: JobCardAnswer, position: str) -> list[str]:
    """The texts of the steps that tighten a position."""
    return [
        step["text"]
        for step in found["steps"]
        if any(each["fastener"]["position"] == position for each in step.get("torque", ()))
    ]


def gaps(found: JobCardAnswer) -> set[tuple[str, str | None]]:
    return {(gap["what"], gap.get("about")) for gap in found["gaps"]}


class Changed:
    """The demo in its own database, with rows changed, added or left out."""

    def __init__(self, database: Database) -> None:
        self.database = database
        self.put_rows: list[Row] = []
        self.left_out: list[Row] = []

    def row(self, table: type[Row], id: str) -> Row:
        with Catalogue(self.database).snapshot() as snapshot:
            found = snapshot.one(table, id)
        assert found is not None
        return found

    def change(self, table: type[Row], id: str, **columns: Any) -> None:
        fields = self.row(table, id).values()
        self.put(table.checked({**fields, **columns}))

    def put(self, row: Row) -> None:
        self.put_rows.append(row)

    def leave_out(self, table: type[Row], id: str) -> None:
        self.left_out.append(self.row(table, id))

    def catalogue(self) -> Catalogue:
        """Applies all changes as one revision."""
        if self.put_rows or self.left_out:
            store(self.database, self.put_rows, self.left_out)
        return Catalogue(self.database)


@pytest.fixture
def changed(demo: Database) -> Changed:
    return Changed(demo)


def test_what_is_undecided_is_named_all_at_once(loaded: Catalogue) -> None:
    faults = refused(loaded, "pellugar-godwit-37", job="travel-change", from_travel="140", to_travel="170")
    assert {(fault.code, fault.parameter) for fault in faults} == {
        ("undecided", "wheel_size"), ("undecided", "model_year"), ("undecided", "serial"),
    }  # fmt: skip
    assert all(any(value in fault.text for value in ("584", "2022", "21500-00 to 21899-99")) for fault in faults)


def test_a_travel_that_no_spring_gives_names_the_nearest(loaded: Catalogue) -> None:
    (fault,) = refused(loaded, **{**UP, "to_travel": "187"})
    assert (fault.code, fault.parameter, fault.suggestion) == ("no-spring-for-travel", "to_travel", "190")
    (fault,) = refused(loaded, **{**UP, "from_travel": "187"})
    assert (fault.code, fault.parameter, fault.suggestion) == ("no-spring-for-travel", "from_travel", "190")
    (fault,) = refused(loaded, **{**UP, "to_travel": "180"})
    assert fault.code == "same-travel"


def test_a_fork_with_one_travel_has_nothing_to_change_to(loaded: Catalogue) -> None:
    faults = refused(loaded, "quembry-tureen-35", job="travel-change", from_travel="140", wheel_size="622")
    (fault,) = (each for each in faults if each.parameter == "to_travel")
    assert fault.code == "nothing-to-change"
    assert fault.text.endswith("there is nothing to change to.")


def test_spacers_above_the_limit_say_how_many_come_out(loaded: Catalogue) -> None:
    """Godwit: four at 140 mm, three at 150 mm."""
    change = {
        "chassis": "pellugar-godwit-37", "job": "travel-change", "from_travel": "140", "to_travel": "150",
        "wheel_size": "622", "model_year": 2023, "serial": "21400-00",
    }  # fmt: skip
    (fault,) = refused(loaded, **change, from_spacers=4)
    assert (fault.code, fault.parameter, fault.suggestion) == ("spacers-over-limit", "from_spacers", "3")
    assert "1 comes out" in fault.text
    found = card(loaded, **change, from_spacers=4, spacers=3)
    (spacer,) = (part for part in found["parts"] if part["kind"] == "volume spacer")
    assert (spacer["count"], spacer["text"]) == (0, "Of the 4 in it 1 comes out: keep.")
    assert "3 in all" in texts(found, "spacer cap")[0]


def test_a_limit_that_is_not_stated_permits_no_spacer(changed: Changed) -> None:
    changed.change(Fit, "fit-haar-42-200-622", spacer_limit=None)
    catalogue = changed.catalogue()
    (fault,) = refused(catalogue, **UP, spacers=1)
    assert fault.code == "spacer-limit-not-stated"
    assert ("spacer-limit", "fit-haar-42-200-622") in gaps(card(catalogue, **UP))


def test_without_a_frame_nobody_has_checked_it(loaded: Catalogue) -> None:
    assert ("frame", None) in gaps(card(loaded, **UP))
    assert "frame" not in {what for what, _ in gaps(card(loaded, **SERVICE))}


def test_a_frame_that_forbids_or_says_nothing_refuses_a_change_and_tells_a_service(changed: Changed) -> None:
    frame = changed.row(Frame, "gorsewade-hurdle-l")
    longer = {
        "travel_min_mm": 100, "travel_max_mm": 200, "axle_to_crown_max_mm": "700", "dual_crown": "yes",
        "steerer": "straight 28.6", "wheel_front": 622,
    }  # fmt: skip
    changed.put(Frame.checked({**frame.exchanged(), **longer, "id": "long"}))
    changed.put(Frame.checked({**frame.exchanged(), **longer, "id": "short", "travel_max_mm": 190}))
    changed.put(Frame.checked({**frame.exchanged(), **longer, "id": "silent", "travel_max_mm": None}))
    catalogue = changed.catalogue()
    assert card(catalogue, **UP, frame="long")["frame"]["allowed"] == "yes"
    faults = refused(catalogue, **UP, frame="short")
    assert {fault.code for fault in faults} == {"frame-forbids"}
    assert faults[0].suggestion == "190"
    assert {fault.code for fault in refused(catalogue, **UP, frame="silent")} == {"frame-not-stated"}
    service = card(catalogue, **{**SERVICE, "travel": "200"}, frame="short")
    assert service["frame"]["allowed"] == "no"
    assert "frame-limit" in {caution["code"] for caution in service["cautions"]}


def test_a_sealed_damper_stays_shut_and_the_rest_is_done(loaded: Catalogue) -> None:
    found = card(loaded, **SERVICE)
    (damper,) = found["not_done"]
    assert (damper["code"], damper["about"]) == ("damper-sealed", "lommeris-lull")
    assert "maker" in damper["possible"]
    assert not any("damper cap" in step["text"].lower() for step in found["steps"])
    assert card(loaded, **WHIMBREL)["not_done"] == []


def test_an_open_damper_that_only_its_maker_opens_is_refused(changed: Changed) -> None:
    changed.change(Damper, "pellugar-shoal", serviceable="by the maker")
    catalogue = changed.catalogue()
    (fault,) = refused(catalogue, **WHIMBREL)
    assert (fault.code, fault.suggestion) == ("damper-not-serviceable", "lower-leg-service")
    assert card(catalogue, **{**WHIMBREL, "job": "lower-leg-service"})["steps"]


def test_an_unknown_property_keeps_both_branches_in_words(changed: Changed) -> None:
    changed.change(Damper, "lommeris-lull", foot_joint=None)
    found = card(changed.catalogue(), **SERVICE)
    conditional = [step for step in found["steps"] if "condition" in step]
    assert {step["condition"] for step in conditional} == {
        "If the joint at the foot is bolt into shaft", "If the joint at the foot is nut on shaft",
    }  # fmt: skip
    assert all(step["text"].startswith(step["condition"] + ": ") for step in conditional)
    assert ("foot-joint", "lommeris-lull") in gaps(found)
    assert any("____" in step["text"] and "nut" in step["condition"] for step in conditional)


def test_what_the_catalogue_does_not_say_is_a_blank_line_and_a_gap(changed: Changed) -> None:
    changed.leave_out(Torque, "torque-haar-42-top-cap")
    changed.change(Fastener, "lommeris-haar-42-axle", drives=None)
    found = card(changed.catalogue(), **SERVICE)
    (cap,) = (step for step in found["steps"] if step["action"] == "tighten" and "top cap" in step["text"])
    assert "tighten it to ____." in cap["text"]
    assert {("torque", "lommeris-haar-42-top-cap"), ("drive", "lommeris-haar-42-axle")} <= gaps(found)


def test_sources_that_disagree_are_no_instruction(changed: Changed) -> None:
    fields = changed.row(Torque, "torque-haar-42-top-cap").exchanged()
    changed.put(Torque.checked({**fields, "id": "torque-other", "min": "50", "max": "55"}))
    found = card(changed.catalogue(), **SERVICE)
    (cap,) = (step for step in found["steps"] if step["action"] == "tighten" and "top cap" in step["text"])
    assert "____" in cap["text"]
    assert not any(figure in cap["text"] for figure in ("30", "50"))
    assert "sources-disagree" in {what for what, _ in gaps(found)}


def test_a_fastener_used_once_is_bought_even_where_no_part_is_listed(changed: Changed) -> None:
    changed.leave_out(Use, "use-haar-42-full-service-foot-bolts")
    catalogue = changed.catalogue()
    bought = [part for part in card(catalogue, **SERVICE)["parts"] if part["kind"] == "foot bolt"]
    assert [(part["count"], part["when"]) for part in bought] == [(1, "always"), (1, "always")]
    assert ("part", bought[0]["id"]) in gaps(card(catalogue, **SERVICE))
    spacers = card(catalogue, **{**SERVICE, "job": "spacer-change"}, spacers=1)
    assert "foot bolt" not in {part["kind"] for part in spacers["parts"]}, "the feet stay shut in this job"


def test_the_most_specific_procedure_wins_or_is_asked_for(changed: Changed) -> None:
    assert card(changed.catalogue(), **SERVICE)["procedure"]["id"] == "full-service"
    fields = {"job": "full-service", "name": "Of this year", "chassis": "lommeris-haar-42", "model_year_from": 2022}
    changed.put(Procedure.checked({**fields, "id": "haar-2022", "source": "lommeris-service-guide-3"}))
    step = {"procedure": "haar-2022", "order": 10, "action": "note", "text": "Look.", "id": "haar-2022-010"}
    changed.put(Step.checked(step))
    catalogue = changed.catalogue()
    assert card(catalogue, **SERVICE)["procedure"]["id"] == "haar-2022"
    assert card(catalogue, **{**SERVICE, "model_year": 2021})["procedure"]["id"] == "full-service"
    open_year = {name: value for name, value in SERVICE.items() if name != "model_year"}
    assert [fault.parameter for fault in refused(catalogue, **open_year)] == ["model_year"]


@pytest.mark.parametrize(
    ("step", "columns", "words"),
    [
        ("full-service-040", {"order": 265}, "foot bolt is opened before the air is out"),
        ("full-service-510", {"action": "check"}, "top cap is loosened and then tightened 0 times"),
        ("full-service-630", {"order": 95}, "foot bolt is loosened and then tightened 0 times"),
        ("full-service-590", {"chamber": "damper-side lower leg"}, "spring-side lower leg is emptied and not refilled"),
    ],
)
def test_an_order_of_work_that_is_not_safe_is_refused(
    changed: Changed, step: str, columns: dict[str, Any], words: str
) -> None:
    changed.change(Step, step, **columns)
    faults = refused(changed.catalogue(), **SERVICE)
    assert {fault.code for fault in faults} == {"procedure-unsafe"}
    assert any(words in fault.text for fault in faults)


def test_each_side_has_its_own_torque_where_they_differ(loaded: Catalogue) -> None:
    of_2022 = card(loaded, **HEDDLE, model_year=2022, job="lower-leg-service")
    assert "8.5 N·m (spring side), 7.2 N·m (damper side)" in texts(of_2022, "foot bolt")[0]
    of_2023 = card(loaded, **HEDDLE, model_year=2023, job="lower-leg-service")
    assert "tighten to 8.5 N·m." in texts(of_2023, "foot bolt")[0]
    assert [fault.parameter for fault in refused(loaded, **HEDDLE, job="lower-leg-service")] == ["model_year"]


def test_stages_stand_one_after_the_other_and_what_goes_on_the_thread_is_said(loaded: Catalogue) -> None:
    found = card(loaded, **UP)
    assert "3–3.5 N·m, then 6–7 N·m. Thread: greased." in texts(found, "lower crown bolt")[0]
    foot = texts(found, "foot bolt")[0]
    assert "never use them twice" in foot
    assert "Fit new ones" in foot
    height = next(check for check in found["checks"] if check["what"] == "stanchion height in the crown")
    assert height["limit"]["limit"]["text"] == "144–156 mm"


def test_oils_are_summed_with_a_tenth_more_and_in_packs(loaded: Catalogue) -> None:
    """Haar at 200 mm on large wheels: 6 above the piston, two rings of 3, 30 and 30 in the legs: 72 mL."""
    oil = next(each for each in card(loaded, **UP)["consumables"] if each.get("id") == "smerrow-bath")
    assert (oil["need"]["text"], oil["with_allowance"]["text"]) == ("72 mL", "79.2 mL")
    assert [(pack["size"]["text"], pack["count"]) for pack in oil["packs"]] == [("120 mL", 1)]
    damper = next(each for each in card(loaded, **WHIMBREL)["consumables"] if each.get("id") == "smerrow-thin")
    assert (damper["need"]["value"], damper["packs"][0]["size"]["value"]) == (156, 500), "the most of 148–156 mL"
    greases = [each for each in card(loaded, **UP)["consumables"] if each.get("kind") == "grease"]
    assert greases
    assert all("need" not in each for each in greases), "no amount is made up"


def test_every_torque_has_a_wrench_that_is_meant_for_it(loaded: Catalogue) -> None:
    for asked in (UP, WHIMBREL, {**CROCK, "from_travel": "170", "to_travel": "180", "spring": "quembry-crock-coil-firm",
                                 "from_spring": "quembry-crock-coil-firm"}):  # fmt: skip
        found = card(loaded, **{**asked, "torque_unit": "N·m"})
        wrenches = [tool for tool in found["tools"] if "largest" in tool]
        for shown in found["torques"]:
            figure = shown["torque"]
            ends = [figure.get(end, figure.get("value")) for end in ("min", "max")]
            for end in ends:
                fitting = [w for w in wrenches if w["smallest"]["value"] <= end <= w["largest"]["value"]]
                assert fitting, (shown["id"], end)
                assert all(w["largest"]["value"] <= w["marked_maximum_at_most"]["max"] * 1.001 for w in fitting)
                assert all(w["marked_maximum_at_most"]["max"] <= 5 * end * 1.01 for w in fitting)


def test_tools_are_listed_in_order_of_use(loaded: Catalogue) -> None:
    tools = card(loaded, **UP)["tools"]
    first = [tool["steps"][0] for tool in tools]
    assert first == sorted(first)
    assert all(tool["steps"] == sorted(tool["steps"]) for tool in tools)


@pytest.mark.parametrize(
    ("start", "end", "count", "text"),
    [
        ("150", "120", 3, "1 is on the shaft already."),
        ("160", "120", 4, None),
        ("120", "160", 0, "All 4 on the shaft come off: keep."),
    ],
)
def test_travel_spacers_are_bought_by_the_difference(
    loaded: Catalogue, start: str, end: str, count: int, text: str | None
) -> None:
    found = card(loaded, **TRIVET, from_travel=start, to_travel=end)
    (spacer,) = (part for part in found["parts"] if part["kind"] == "travel spacer")
    assert (spacer["count"], spacer.get("text")) == (count, text)
    assert "spring" not in {part["kind"] for part in found["parts"]}, "the same spring stays in"


def test_the_spring_is_bought_where_another_goes_in(loaded: Catalogue) -> None:
    bought = [part for part in card(loaded, **UP)["parts"] if part["kind"] == "spring"]
    assert [(part["part_number"], part["count"]) for part in bought] == [("LM420200", 1)]


def test_of_several_springs_it_asks_which_is_fitted_and_which_will_be(loaded: Catalogue) -> None:
    coil = {**CROCK, "from_travel": "170", "to_travel": "180"}
    assert {fault.parameter for fault in refused(loaded, **coil)} == {"spring", "from_spring"}
    firm = {**coil, "spring": "quembry-crock-coil-firm"}
    assert [fault.parameter for fault in refused(loaded, **firm)] == ["from_spring"]
    kept = card(loaded, **firm, from_spring="quembry-crock-coil-firm")
    changed = card(loaded, **firm, from_spring="quembry-crock-coil-soft")
    assert "spring" not in {part["kind"] for part in kept["parts"]}
    assert "spring" in {part["kind"] for part in changed["parts"]}
    here = {**firm, "to_travel": "170", "from_spring": "quembry-crock-coil-soft"}
    assert card(loaded, **here)["fit"]["id"] == "fit-crock-39-firm-170-622", "a coil is changed at one travel"
    spacers = {**firm, "from_spring": "quembry-crock-coil-firm", "spacers": 2}
    assert [fault.code for fault in refused(loaded, **spacers)] == ["no-volume-spacers"]


def test_settings_checks_and_label_describe_the_fork_after_the_job(loaded: Catalogue) -> None:
    found = card(loaded, **UP, rider_mass="80", spacers=1)
    assert found["settings"]["spacers"] == 1
    assert found["settings"]["start_pressure"]["value"] < 8
    proof = next(check for check in found["checks"] if check["what"] == "axle-to-crown")
    assert proof["value"]["value"] == 604
    assert "20 mm longer" in proof["text"]
    assert found["label"][0] == "Haar, 200 mm of travel"
    assert "Volume spacers: 1, at most 3" in found["label"]
    assert all(line["value"] == "____" for line in found["write_down"])
    assert any(caution.get("steps") for caution in found["cautions"])


SMIRR = {"chassis": "lommeris-smirr-35", "wheel_size": "622", "model_year": 2023}
SMIRR_JOBS: dict[str, dict[str, Any]] = {
    "lower-leg-service": {"travel": "130"},
    "full-service": {"travel": "130"},
    "spacer-change": {"travel": "130", "spacers": 1},
    "travel-change": {"from_travel": "130", "to_travel": "140"},
}


def emptying(catalogue: Catalogue, procedure: str) -> list[str]:
    """The steps of an order of work that let air out."""
    with catalogue.snapshot() as snapshot:
        steps = snapshot.where(Step, "procedure", procedure)
    return sorted(step.id for step in steps if step.action == "empty" and step.chamber is None)


@pytest.mark.parametrize("job", SMIRR_JOBS)
@pytest.mark.parametrize("valve", [0, 1])
def test_a_known_valve_without_a_step_that_empties_it_gives_no_card(changed: Changed, job: str, valve: int) -> None:
    assert card(changed.catalogue(), **SMIRR, job=job, **SMIRR_JOBS[job])["steps"]
    both = emptying(changed.catalogue(), f"{job}-smirr")
    assert len(both) == 2
    changed.leave_out(Step, both[valve])
    faults = refused(changed.catalogue(), **SMIRR, job=job, **SMIRR_JOBS[job])
    assert {fault.code for fault in faults} == {"procedure-unsafe"}
    assert any("two valves" in fault.text for fault in faults)


def test_an_unknown_second_valve_keeps_both_emptying_steps_in_words(changed: Changed) -> None:
    changed.change(Spring, "lommeris-smirr-35-spring-130", negative=None)
    found = card(changed.catalogue(), **SMIRR, job="lower-leg-service", travel="130")
    emptied = [step for step in found["steps"] if step["action"] == "empty" and "valve" in step["text"]]
    assert [step.get("condition") for step in emptied] == [None, "If the negative chamber is filled by own valve"]
    assert ("negative", "lommeris-smirr-35-spring-130") in gaps(found)


def test_an_order_for_one_valve_is_not_followed_on_a_fork_with_two(changed: Changed) -> None:
    changed.change(Spring, "lommeris-haar-42-spring-190", negative="own valve")
    faults = refused(changed.catalogue(), **{**SERVICE, "job": "lower-leg-service"})
    assert [fault.code for fault in faults] == ["procedure-unsafe"]


def step_with(found: JobCardAnswer, words: str) -> dict[str, Any]:
    """The only step whose text contains these words."""
    (step,) = (step for step in found["steps"] if words in step["text"])
    return dict(step)


def test_a_service_without_a_rider_refills_to_the_pressure_that_was_noted(loaded: Catalogue) -> None:
    found = card(loaded, **SERVICE)
    filled = step_with(found, "Refill")
    noted = next(step for step in found["steps"] if "present pressure" in step["measures"])
    assert f"Refill to the pressure noted in step {noted['number']}. Maximum: 8.0 bar." in filled["text"]
    assert "start-pressure" not in {what for what, _ in gaps(found)}
    with_rider = step_with(card(loaded, **SERVICE, rider_mass="80"), "Half of it")
    start, half = (each["value"]["value"] for each in with_rider["figures"][:2])
    assert half == pytest.approx(start / 2, abs=0.1)


def test_a_fork_that_is_ridden_higher_up_is_filled_to_the_pressure_of_the_workshop(loaded: Catalogue) -> None:
    """The step, its half and the set-up of the card name one pressure to fill here."""
    found = card(loaded, **SERVICE, rider_mass="100", altitude="2300", temperature="-5")
    place, start = found["settings"]["altitude"]["fill_to"], found["settings"]["start_pressure"]
    assert place["value"] != start["value"]
    filled = step_with(found, "Half of")
    assert f"Fill to {place['value']:g} bar here, at 0 m. Start pressure: {start['value']:g} bar" in filled["text"]
    figures = {each["what"]: to_set(each["value"]) for each in filled["figures"]}
    assert figures["pressure to fill here"] == place["value"]
    assert figures["half of the pressure to fill here"] == pytest.approx(place["value"] / 2, abs=0.1)
    assert "half of the start pressure" not in figures


def test_a_start_pressure_above_the_maximum_is_not_filled_in_silence(changed: Changed) -> None:
    with Catalogue(changed.database).snapshot() as snapshot:
        fits = [row for row in snapshot.all(Fit) if row.chassis == HAAR["chassis"]]
    for row in fits:
        changed.change(Fit, row.id, pressure_limit="2.0")
    filled = step_with(card(changed.catalogue(), **SERVICE, rider_mass="80"), "Half of it")
    assert "is above the maximum: do not fill to it." in filled["text"]


def test_a_rider_above_the_limit_gets_no_advice_to_start_low(loaded: Catalogue) -> None:
    found = card(loaded, **UP, rider_mass="140")
    assert not any("start low" in step["text"] for step in found["steps"])
    assert "above the limit of this fork" in step_with(found, "no start pressure")["text"]


def test_a_preload_published_for_another_coil_is_not_set_on_this_one(loaded: Catalogue) -> None:
    """The guide names QB-4062 with 4 turns for 80 kg: a card for QB-4084 keeps the turns that were noted."""
    given = {"chassis": "quembry-crock-39", "job": "full-service", "model_year": 2023, "wheel_size": "622"}
    given |= {"travel": "170", "rider_mass": "80"}
    mine = card(loaded, **given, spring="quembry-crock-coil-medium")
    other = card(loaded, **given, spring="quembry-crock-coil-stout")
    assert "4 turns in from minimum preload (published)" in step_with(mine, "Turn the preload in")["text"]
    assert "as many turns as noted in step" in step_with(other, "Turn the preload in")["text"]
    assert "This card is for QB-4084." in other["settings"]["text"]
    assert "This card is for" not in mine["settings"]["text"]


def test_a_change_without_a_rider_says_how_to_find_the_pressure(loaded: Catalogue) -> None:
    filled = step_with(card(loaded, **UP), "start low")
    assert "stay below" in filled["text"]


@pytest.mark.parametrize(
    ("start", "end", "words"),
    [
        ("150", "160", "Remove the travel spacer (1 → 0)."),
        ("140", "160", "Remove both travel spacers (2 → 0)."),
        ("120", "160", "Remove all 4 travel spacers (4 → 0)."),
        ("140", "150", "Remove 1 travel spacer (2 → 1). Snap it fully home."),
        ("160", "140", "Add 2 travel spacers to the spring shaft (0 → 2). Snap each fully home."),
    ],
)
def test_travel_spacers_are_added_and_removed_in_words(loaded: Catalogue, start: str, end: str, words: str) -> None:
    """Trivet: one travel spacer for each 10 mm below 160 mm."""
    found = card(loaded, **TRIVET, from_travel=start, to_travel=end)
    assert words in [step["text"] for step in found["steps"]]


def test_no_volume_spacer_is_never_fitted(loaded: Catalogue) -> None:
    none = card(loaded, **{**SERVICE, "job": "spacer-change"}, from_spacers=2, spacers=0)
    assert step_with(none, "Remove both volume spacers (2 → 0)")
    assert not any("0 volume spacers" in step["text"] for step in none["steps"])
    one = card(loaded, **{**SERVICE, "job": "spacer-change"}, from_spacers=2, spacers=1)
    assert "to 1 in all (2 → 1); maximum 3 for this travel" in step_with(one, "in all")["text"]


def test_bolts_that_bring_their_own_threadlocker_need_no_bottle(loaded: Catalogue) -> None:
    assert "medium threadlocker" not in {each["name"] for each in card(loaded, **SERVICE)["consumables"]}
    mizzle = {"chassis": "lommeris-mizzle-31", "job": "lower-leg-service", "travel": "120", "model_year": 2023}
    with_bottle = card(loaded, **mizzle, wheel_size="622")
    assert "medium threadlocker" in {each["name"] for each in with_bottle["consumables"]}


def test_the_change_of_length_is_proved_with_its_figures(loaded: Catalogue) -> None:
    """Haar: 604 mm at 200 mm of travel, 20 mm more than at 180 mm; straight up to 2.8 mm more."""
    proof = step_with(card(loaded, **UP), "exposed stanchion must be")
    assert "20 mm longer than in step 2" in proof["text"]
    length = next(each["value"] for each in proof["figures"] if each["what"] == "axle-to-crown")
    assert (length["value"], length["min"]) == (604, 603)
    assert 604 + 1 < length["max"] <= 604 + 5
    assert "604 mm" in proof["text"]


def test_a_length_that_is_not_known_is_not_to_be_matched(changed: Changed) -> None:
    changed.change(Fit, "fit-haar-42-200-622", axle_to_crown_mm=None)
    proof = step_with(card(changed.catalogue(), **UP), "exposed stanchion must be")
    assert "does not give the axle-to-crown: write it down" in proof["text"]
    assert "match" not in proof["text"]


def test_a_hollow_bolt_with_a_valve_is_not_struck(loaded: Catalogue) -> None:
    for job in ("lower-leg-service", "full-service", "travel-change"):
        found = card(loaded, **SMIRR, job=job, **SMIRR_JOBS[job])
        (free,) = (step for step in found["steps"] if step["action"] == "free")
        assert "never strike it" in free["text"]
        assert "Drift for hollow foot bolts" in free["tools"]
        second = step_with(found, "Fill the second chamber")
        assert "noted in step 2" in second["text"] or "____" in second["text"]
    rider = card(loaded, **SMIRR, job="lower-leg-service", travel="130", rider_mass="60")
    assert "4.3 bar (published)" in step_with(rider, "Fill the second chamber")["text"]


def test_clicks_of_a_damper_that_counts_from_open_are_noted_from_open(loaded: Catalogue) -> None:
    ladle = {"chassis": "quembry-trivet-35", "variant": "quembry-trivet-35-run-two", "model_year": 2023}
    found = card(loaded, **ladle, wheel_size="622", damper="quembry-sieve", travel="150", job="lower-leg-service")
    noted = next(step for step in found["steps"] if "present pressure" in step["measures"])
    assert "rebound clicks, from open" in noted["measures"]
    assert step_with(found, "Set the clicks")["text"] == "Set the clicks as noted in step 2, counted from open."
    assert "counted from open" in found["settings"]["text"]


def test_a_caution_is_given_once_with_three_lines_at_the_top(loaded: Catalogue) -> None:
    found = card(loaded, **UP)
    top = [each["code"] for each in found["cautions"] if each["place"] == "top"]
    assert top == ["invented-data", "pressure-before-opening", "manual-prevails", "qualified"]
    texts_of = [each["text"] for each in found["cautions"]]
    assert len(texts_of) == len(set(texts_of))
    crock = card(loaded, **{**CROCK, "spring": "quembry-crock-coil-firm", "from_spring": "quembry-crock-coil-firm"},
                 from_travel="170", to_travel="180")  # fmt: skip
    assert not any("air" in each["text"] and each["place"] != "step" for each in crock["cautions"])


def test_a_longer_fork_slackens_a_frame(loaded: Catalogue) -> None:
    (frame,) = (gap for gap in card(loaded, **UP)["gaps"] if gap["what"] == "frame")
    assert "slackens" in frame["why_needed"]


def test_if_worn_is_said_of_parts_in_the_steps_too(loaded: Catalogue) -> None:
    found = card(loaded, **UP)
    worn = {part["id"] for part in found["parts"] if part["when"] == "if worn"}
    in_steps = {part["id"]: part["when"] for step in found["steps"] for part in step["parts"]}
    assert worn & in_steps.keys()
    assert all(in_steps[id] == "if worn" for id in worn & in_steps.keys())
