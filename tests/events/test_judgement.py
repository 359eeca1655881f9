"""What a job's words do to the margins: ratings, families, unknowns, coupling, claims, data-sheet range, own events."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from guardcheck.engine import Engine
from guardcheck.errors import CircuitError, JobError
from guardcheck.job import parse_job
from guardcheck.library import Library
from guardcheck.model import CONFORMS, DAILY, DOES_NOT_CONFORM, NOT_APPLICABLE, NOT_PROVEN, STRIKE, Facts, Quantity
from guardcheck.rules import judge_all
from guardcheck.rules.evt01_stress import judge
from guardcheck.simulate.stress.bench import bench_of, chassis_of
from guardcheck.simulate.stress.convergence import groups_of, run_groups
from guardcheck.simulate.stress.events import check_claims, event_results, library_events, own_events, subjects_of
from guardcheck.simulate.stress.margins import surge_margin
from guardcheck.simulate.stress.quantities import quantities_of
from guardcheck.simulate.stress.ratings import SEEN, source_ratings
from tests.events.jobs import DISPLAY, SUPPLY, findings, groups, job_text, plan_of, read

SYMMETRIC, SINGLE = 'y_coupling = "symmetric"\n', 'y_coupling = "single"\n'


def chassis(supply: str, display: str) -> tuple[float, float, float]:
    """Return crest voltage, capacitance and rms current between the two 0 V nodes."""
    found = chassis_of(read(job_text(supply=supply, display=display)))
    return found.volts, found.capacitance, found.amps


class TestChassis:
    """Leakage and open-circuit rows: Thevenin of the Y capacitances (observed 70 to 120 V between class II cases)."""

    def test_symmetric_pairs_are_never_quite_equal(self) -> None:
        """20 % parts opposed: 0.6 against 0.4 of the mains, 65.05 V crest behind 2.35 nF, 33.96 uA."""
        volts, capacitance, amps = chassis(SUPPLY + SYMMETRIC, DISPLAY + SYMMETRIC)
        assert (volts, capacitance) == (pytest.approx(65.05, rel=1e-3), pytest.approx(2.35e-9))
        assert amps == pytest.approx(33.96e-6, rel=1e-3)
        close = DISPLAY.replace('"4.7 nF"', '"4.7 nF 5%"')
        volts, _, _ = chassis(SUPPLY.replace('"4.7 nF"', '"4.7 nF 5%"') + SYMMETRIC, close + SYMMETRIC)
        assert volts == pytest.approx(0.05 * 325.27, rel=1e-3)  # 0.525 against 0.475

    def test_a_capacitor_behind_the_bridge_couples_half_waves_less_their_mean(self) -> None:
        """230 V: -222 V and +104 V against earth (325.3 V less, and 325.3 V / pi), not 325 V."""
        volts, capacitance, _ = chassis(SUPPLY + 'y_coupling = "bridge"\n', "earthed = true\n")
        assert volts == pytest.approx(325.27 * (1.0 - 1.0 / math.pi), rel=1e-3)
        assert capacitance == pytest.approx(4.7e-9)

    def test_the_windings_of_a_transformer_couple_little(self) -> None:
        supply = SUPPLY.replace('y_capacitance = "4.7 nF"\n', "") + 'y_coupling = "transformer"\n'
        volts, capacitance, _ = chassis(supply, "earthed = true\n")
        assert (volts, capacitance) == (pytest.approx(325.27, rel=1e-3), pytest.approx(1e-9))

    def test_another_lead_may_earth_a_display_that_is_not_earthed(self) -> None:
        leads = DISPLAY.replace("other_leads = false\n", "") + SYMMETRIC
        found = chassis_of(read(job_text(supply=SUPPLY + SYMMETRIC, display=leads)))
        assert found.volts == pytest.approx(0.6 * 325.27, rel=1e-3)  # against earth
        assert found.least == pytest.approx(65.05, rel=1e-3)  # not earthed: pairs of 20 % opposed
        assert found.open == ("display.other_leads",)

    @pytest.mark.parametrize(
        ("link", "crest", "farads", "open_"),
        [
            # an earthed amplifier earths the unit: the display's 0.6 of the mains behind its own 4.7 nF stands alone
            ("earthed = true", 0.6 * 325.27, 4.7e-9, ()),
            ('earthed = "unknown"', 0.6 * 325.27, 4.7e-9, ("link.earthed",)),
            ("", 0.6 * 325.27, 4.7e-9, ("link.earthed",)),
            # a floating one with one capacitor: (0.6 + 1) / 2 of the mains behind 9.4 nF, against 0.4 behind 4.7 nF
            ('earthed = false\ny_capacitance = "4.7 nF"\ny_coupling = "single"', 0.4 * 325.27, 9.4e-9 / 3, ()),
            # a wire to another board of the unit is no apparatus
            ('drive = "5 V"\nseries = "4.7 kohm"', 0.2 * 325.27, 2.35e-9, ()),
        ],
    )
    def test_what_else_is_linked_may_earth_the_unit_or_lift_it(
        self, link: str, crest: float, farads: float, open_: tuple[str, ...]
    ) -> None:
        tail = f'[[link]]\nto = "amplifier"\n{link}\n'
        found = chassis_of(read(job_text(supply=SUPPLY + SYMMETRIC, display=DISPLAY + SYMMETRIC, tail=tail)))
        assert found.volts == pytest.approx(crest, rel=1e-3)
        assert found.capacitance == pytest.approx(farads)
        assert found.open == open_

    def test_opposed_single_capacitors_show_the_whole_mains(self) -> None:
        """Two of 4.7 nF at 230 V 50 Hz: 325 V behind 2.35 nF, 169.8 uA."""
        volts, capacitance, amps = chassis(SUPPLY + SINGLE, DISPLAY + SINGLE)
        assert volts == pytest.approx(325.3, rel=1e-3)
        assert capacitance == pytest.approx(2.35e-9)
        assert amps == pytest.approx(169.8e-6, rel=1e-3)

    def test_symmetric_against_earth_shows_half_the_mains(self) -> None:
        """Y11 and Y12 of 20 %: up to 0.6 of the mains behind both; 4.7 nF in all, 203.8 uA, 0.917 uC, 195.2 V crest."""
        earthed = 'earthed = true\ny_coupling = "symmetric"\n'
        volts, capacitance, amps = chassis(SUPPLY + SYMMETRIC, earthed)
        assert volts == pytest.approx(138.0 * math.sqrt(2.0), rel=1e-6)
        assert capacitance == pytest.approx(4.7e-9)
        assert amps == pytest.approx(203.8e-6, rel=1e-3)
        assert volts * capacitance == pytest.approx(0.917e-6, rel=2e-3)

    def test_single_against_earth_is_339_microamperes(self) -> None:
        """Y01: 4.7 nF, 230 V, 50 Hz: 0.3396 mA."""
        assert chassis(SUPPLY + SINGLE, "earthed = true\n")[2] == pytest.approx(0.3396e-3, rel=1e-3)

    def test_american_mains(self) -> None:
        """120 V 60 Hz: 170 V, 106.3 uA and 0.399 uC."""
        supply = SUPPLY.replace("230 V", "120 V").replace("50 Hz", "60 Hz")
        volts, capacitance, amps = chassis(supply + SINGLE, DISPLAY + SINGLE)
        assert volts == pytest.approx(169.7, rel=1e-3)
        assert amps == pytest.approx(106.3e-6, rel=1e-3)
        assert volts * capacitance == pytest.approx(0.399e-6, rel=2e-3)

    @pytest.mark.parametrize(
        ("phases", "coupling", "rms"),
        [("opposite", SYMMETRIC, 276.0), ("different", SYMMETRIC, 239.0), ("different", SINGLE, 398.4)],
    )
    def test_two_phases(self, phases: str, coupling: str, rms: float) -> None:
        """Equal pairs on two phases 199 V, single ones 398 V; on two legs the mains; 20 % makes 1.2 times that."""
        volts, _, _ = chassis(SUPPLY + coupling + f'phases = "{phases}"\n', DISPLAY + coupling)
        assert volts / math.sqrt(2.0) == pytest.approx(rms, rel=1e-3)

    def test_unknown_coupling_is_the_worst_and_says_so(self) -> None:
        found = chassis_of(read(job_text(supply=SUPPLY + 'y_coupling = "unknown"\n', display=DISPLAY)))
        assert found.volts == pytest.approx(325.3, rel=1e-3)
        assert any("Y coupling of the unit" in words for words in found.assumed)

    def test_both_earthed_is_no_event(self) -> None:
        supply = SUPPLY.replace('"II"', '"I"')
        assert chassis(supply, "earthed = true\n")[0] == 0.0


class TestRail:
    def test_a_current_is_what_the_unit_draws_at_its_rail(self) -> None:
        bench = bench_of(read(job_text()), plan_of(read(job_text())).rail)
        assert bench.rail.load == pytest.approx(50.0)
        assert bench.rail_max == (5.5, 5.5)
        assert bench.assumed == ()

    def test_what_is_not_declared_is_taken_at_the_hardest(self) -> None:
        job = read(job_text(supply='rail = "5 V"\nrail_load = "unknown"\n', display=""))
        bench = bench_of(job, plan_of(job).rail)
        assert bench.rail.capacitance == pytest.approx(100e-9)
        assert bench.rail.load == pytest.approx(5000.0)
        assert len(bench.assumed) == 3
        assert bench.rail_max == pytest.approx((5.5, 7.0))


def ratings_of(pin: str, source: str = "video-pin"):  # type: ignore[no-untyped-def]
    values = 'white = "2 V", impedance = "10 ohm"' if source == "video-pin" else 'high = "5 V"'
    job = read(job_text(pin=pin, source=source, source_values=values))
    library = Library.load()
    return source_ratings(job, job.lines[0], library.get("source", source), library, diodes=True)


class TestRatings:
    def test_what_the_job_states_stands(self) -> None:
        found = ratings_of('{ over_voltage = "0.3 V", under_voltage = "0.3 V", clamp_current = "5 mA" }')
        assert found.bounds["clamp_current"] == (5e-3, 5e-3)
        assert found.bounds["output_current"] == SEEN["output_current"]
        assert (found.human_body, found.latch_up, found.device) == (None, None, None)

    def test_the_ratings_of_tests_reach_what_is_judged_by_them(self) -> None:
        found = ratings_of('{ hbm = "1 kV", latch_up = "150 mA", cdm = "250 V", short_circuit = "40 mA" }')
        assert (found.human_body, found.latch_up, found.device, found.short_circuit) == (1e3, 0.15, 250.0, 0.04)

    def test_what_nobody_states_is_judged_at_both_bounds(self) -> None:
        """Data sheets seen: 0.3 to 1.5 V beyond the rails; 1, 2, 5, 15, 20 mA."""
        found = ratings_of('"unknown"')
        assert found.bounds["over_voltage"] == (0.3, 1.5)
        assert found.bounds["clamp_current"] == (1e-3, 20e-3)
        assert found.stated == frozenset()

    def test_a_family_is_an_assumption_and_may_let_the_current_decide(self) -> None:
        found = ratings_of('{ family = "hc-logic" }')
        assert found.bounds["clamp_current"] == (20e-3, 20e-3)
        assert (found.bounds["output_current"], found.latch_up, found.human_body) == ((25e-3, 25e-3), 0.1, 2000.0)
        assert math.isinf(found.strict("over_voltage"))
        assert "hc-logic" in found.assumed[0]

    def test_the_job_overrides_its_family(self) -> None:
        found = ratings_of('{ family = "hc-logic", over_voltage = "0.5 V" }')
        assert found.bounds["over_voltage"] == (0.5, 0.5)

    def test_an_unknown_family_is_refused_with_its_place(self) -> None:
        with pytest.raises(JobError, match=r"line\[0\]\.pin\.family: there is no family of pins 'hc-logik'.*hc-logic"):
            ratings_of('{ family = "hc-logik" }')

    def test_every_family_names_its_source_and_lies_within_what_was_seen_or_says_why(self) -> None:
        library = Library.load()
        assert len(library.pin_names()) >= 6
        for name in library.pin_names():
            family = library.pin(name)
            assert family.reference, name
            assert 1e-3 <= family.ratings["clamp_current"] <= 50e-3, name

    def test_a_family_file_with_nonsense_is_refused(self, tmp_path: Path) -> None:
        (tmp_path / "pins").mkdir()
        good = 'title = "t"\npurpose = "p"\nreference = "r"\nknown_by = "read"\n'
        (tmp_path / "pins" / "mine.toml").write_text(good + '[ratings]\nclamp_current = "0 mA"\n', encoding="utf-8")
        with pytest.raises(CircuitError, match="above zero"):
            Library.load(tmp_path).pin("mine")
        (tmp_path / "pins" / "other.toml").write_text(good + '[ratings]\nclamp = "5 mA"\n', encoding="utf-8")
        with pytest.raises(CircuitError, match=r"unknown key 'clamp'.*clamp_current"):
            Library.load(tmp_path).pin("other")


class TestMargins:
    def test_a_pulse_between_proof_and_harm_is_not_proven_and_twice_the_voltage_is_harm(self, engine: Engine) -> None:
        """2.35 nF at 325 V through 75 ohm is like 5 kV of human body for a pin of 2 kV; at 650 V like 10 kV."""
        found = findings(engine, job_text(), "hot-plug")
        for severity, outcome, like in (
            ("first contact", NOT_PROVEN, "5 kV"),
            ("re-contact", DOES_NOT_CONFORM, "10 kV"),
        ):
            row = found[f"red/bare/event.margin/hot-plug/{severity}"]
            assert (row.outcome, row.needed) == (outcome, True)
            assert f"is like a {like} human-body pulse; the pin is rated for 2 kV" in row.why
            latch = found[f"red/bare/event.latch_up/hot-plug/{severity}"]
            assert latch.outcome == NOT_PROVEN
            for one in (row, latch):  # no data sheet prints 1.5 dB: the rule is this tool's, the rating under it is not
                assert (one.reference or "").startswith("1.5 dB to spare (design rule of this tool) under pin ratings")

    def test_a_bare_riser_plugged_live_does_not_conform(self, engine: Engine) -> None:
        bare = job_text(stage="pass-through", stage_values="", source_values='white = "2 V", impedance = "1 ohm"')
        row = findings(engine, bare, "hot-plug")["red/bare/event.margin/hot-plug/first contact"]
        assert row.outcome == DOES_NOT_CONFORM
        assert "3 times the rating carried over to that width (an assumption)" in row.why

    def test_the_step_of_a_second_contact_doubles_the_current(self, engine: Engine) -> None:
        found = findings(engine, job_text(), "hot-plug")
        first, second = (
            found[f"red/bare/event.pin_current/hot-plug/{s}"].value for s in ("first contact", "re-contact")
        )
        assert second == pytest.approx(2.0 * first, rel=0.05)

    def test_supplies_that_are_both_earthed_leave_the_pin_alone(self, engine: Engine) -> None:
        text = job_text(supply=SUPPLY.replace('"II"', '"I"'), display="earthed = true\n")
        row = findings(engine, text, "hot-plug")["red/bare/event.margin/hot-plug/first contact"]
        assert row.outcome == CONFORMS
        assert "no voltage stands between the two 0 V" in row.why

    def test_a_schottky_pair_beyond_its_data_sheet_proves_nothing(self, engine: Engine) -> None:
        """Clamp at the connector, 1 kohm behind it: the pin is safe only if the clamp behaves at 3 A as at 0.1 A."""
        text = job_text(
            guard="schottky-pair",
            guard_values='place = "connector"',
            stage_values='series = "1 kohm"',
            source_values='white = "2 V", impedance = "1 kohm"',
            pin='{ family = "hc-logic" }',
        )
        row = findings(engine, text, "hot-plug")["red/guarded/event.margin/hot-plug/first contact"]
        assert row.outcome == NOT_PROVEN
        assert row.estimate
        assert row.value is not None
        assert row.value > 1.5
        assert "beyond the data sheet of BAT54S at" in row.why

    def test_a_missing_rating_between_its_bounds_is_not_proven(self, engine: Engine) -> None:
        text = job_text(stage_values='series = "1 kohm"', pin='"unknown"')
        row = findings(engine, text, "misplug")["red/bare/event.margin/misplug/12 V"]
        assert row.outcome == NOT_PROVEN
        low, high = row.spread or (0.0, 0.0)
        assert low < -1.5 < high

    def test_even_the_loosest_rating_can_fail(self, engine: Engine) -> None:
        text = job_text(stage_values='series = "75 ohm"', pin='"unknown"')
        row = findings(engine, text, "misplug")["red/bare/event.margin/misplug/12 V"]
        assert row.outcome == DOES_NOT_CONFORM
        assert "bounds seen in data sheets" in (row.reference or "")

    def test_steady_heat_is_judged_part_by_part(self, engine: Engine) -> None:
        job = read(job_text(guard="silicon-pair"))
        results = event_results(engine, plan_of(job))
        heat = [one for one in results.quantities if one.name == "part.power" and one.event == "misplug"]
        worst = max(heat, key=lambda one: one.value or 0.0)
        assert worst.where == "stage series"
        # 12 V through 75 ohm into a driver at 0 V that takes 0.1 A at most: 0.1^2 x 75 = 0.75 W
        assert worst.value == pytest.approx(0.75, rel=0.01)
        names = {one.name for one in results.quantities}
        assert {"event.pin_over", "event.pin_under", "event.pin_current", "event.rail", "event.time_over"} <= names
        assert {"event.pin_charge", "event.pin_energy", "event.margin", "event.part_margin"} <= names
        assert {one.picture for one in results.curves} == {"event"}

    def test_claimed_events_decide_and_others_of_their_kind_do_not(self, engine: Engine) -> None:
        plain = findings(engine, job_text(), "esd-contact")
        assert set(plain) >= {f"red/bare/event.margin/esd-contact/{level} kV" for level in (2, 4, 6, 8)}
        assert not any(one.needed for one in plain.values())
        claimed = findings(engine, job_text(tail='[claims]\nevents = ["esd-contact"]'), "esd-contact")
        assert claimed["red/bare/event.margin/esd-contact/8 kV"].needed
        assert all(
            one.outcome == NOT_APPLICABLE
            for one in claimed.values()
            if one.quantity not in ("event.margin", "event.latch_up", "event.part_margin", "event.withstands")
        )

    def test_a_strike_is_a_grade_the_hardest_level_up_to_which_all_hold(self) -> None:
        rows = [(level, 9.0 if level == "2 kV" else 0.0) for level in ("2 kV", "4 kV")]
        quantities = [
            Quantity("event.margin", "red", True, db, spread=(db, db), event="strike", severity=level, use=STRIKE)
            for level, db in rows
        ]
        grade = next(one for one in judge(Facts(tuple(quantities))) if one.quantity == "event.withstands")
        assert (grade.value, grade.outcome, grade.needed) == (2000.0, CONFORMS, False)
        assert grade.why == "Withstands 2 kV; 4 kV not proven."
        poor = judge(Facts(tuple(quantities[1:])))[-1]
        assert (poor.value, poor.outcome, poor.why) == (None, NOT_PROVEN, "4 kV not proven.")

    def test_bare_rows_of_a_guarded_line_decide_nothing(self, engine: Engine) -> None:
        found = findings(engine, job_text(guard="silicon-pair"), "misplug")
        assert not found["red/bare/event.margin/misplug/5 V"].needed
        assert found["red/guarded/event.margin/misplug/5 V"].needed

    def test_the_pin_of_a_buffer_takes_the_surge_and_is_judged(self, engine: Engine) -> None:
        text = job_text(stage="video-buffer", stage_values='series = "75 ohm"')
        row = findings(engine, text, "hot-plug")["red/bare/event.margin/hot-plug/first contact"]
        assert "At the amplifier's own output pin" in row.why
        assert row.outcome == NOT_PROVEN
        rated = text.replace('guard = "none"', 'guard = "none"\nstage_pin = { hbm = "10 kV", clamp_current = "10 mA" }')
        row = findings(engine, rated, "hot-plug")["red/bare/event.margin/hot-plug/first contact"]
        assert row.outcome == CONFORMS  # like 5 kV of human body by its energy; 760 nC against 1 uC

    def test_a_clamp_beyond_its_rating_for_a_longer_pulse_is_not_proven_and_far_beyond_it_is_harm(self) -> None:
        """2 A for 1 us: of 100 ns, 2 A are proof and 3 x 2 A x sqrt(10) = 19 A harm (design rule)."""
        rated = {"surge_1us": 2.0}
        found = surge_margin("diode", rated, 4.0, 1e-7, lasting=False)
        assert found is not None
        assert found.strict == pytest.approx(-6.02, abs=0.01)
        assert found.loose == pytest.approx(20.0 * math.log10(18.97 / 4.0), abs=0.01)
        longer = surge_margin("diode", {**rated, "surge_1ms": 1.0}, 4.0, 1e-5, lasting=False)
        assert longer is not None
        assert longer.loose == pytest.approx(-6.02, abs=0.01)  # the shorter pulse's own rating is passed

    def test_a_source_without_diodes_or_ratings_is_not_proven(self, engine: Engine, tmp_path: Path) -> None:
        (tmp_path / "mine.cir").write_text(
            ".subckt mine emf pin vdd gnd\nrout emf pin 10\nrhold vdd gnd 1e9\n.ends mine\n", encoding="utf-8"
        )
        text = job_text(source_values="", standard="scart-blanking", pin="")
        text = text.replace('source = "video-pin"', 'source_netlist = "mine.cir"')
        job = read(text, str(tmp_path / "job.toml"))
        (group,) = (one for one in groups(engine, job, ["misplug"]) if one.severity == "12 V")
        row = quantities_of(group, None, claims=())[0]
        assert row.failure is not None
        assert "states no pin" in row.failure

    def test_a_supply_feed_is_no_chips_pin(self, engine: Engine) -> None:
        """A wire from the rail has no pin that could be hurt: the rail is judged, and no pin quantity is shown."""
        text = job_text(
            source="switch-pin",
            source_values='voltage = "5 V", impedance = "10 ohm"',
            standard="scart-blanking",
            pin="",
        )
        found = findings(engine, text, "misplug")
        assert [name for name in found if "/event.pin_" in name] == []
        assert "The rail, 5 V, is lifted" in found["red/bare/event.margin/misplug/12 V"].why

    def test_an_unknown_claim_is_refused(self) -> None:
        job = read(job_text(tail='[claims]\nevents = ["lightning"]'))
        plan = plan_of(job)
        with pytest.raises(JobError, match=r"claims\.events\[0\]: no event 'lightning'; accepted: back-power"):
            check_claims(plan, library_events(plan))


OWN = """* a battery through a resistor onto the signal contact
.subckt mine near near_gnd far far_gnd volts=9 ohms=100
vbattery behind near_gnd pulse(0 {volts} 1u 10n 10n 1 2)
rlimit behind near {ohms}
rjoin near_gnd far_gnd 1e-3
ropen far far_gnd 1e6
.ends mine
"""


def test_a_users_own_event_works_the_same_way(tmp_path: Path, engine: Engine) -> None:
    (tmp_path / "mine.cir").write_text(OWN, encoding="utf-8")
    more = (
        'event_netlist = "mine.cir"\nevent_values = { volts = "12 V", mated = "nothing", unit = "on", stop = "50 us" }'
    )
    text = job_text(more=more, stage_values='series = "10 ohm"')
    job = parse_job(text, file=str(tmp_path / "job.toml"))
    results = event_results(engine, plan_of(job))
    rows = {one.name: one for one in results.quantities if one.event == "mine"}
    assert rows["event.margin"].severity == "as written"
    # 12 V through 100 + 10 ohm into 10 ohm of driver at 0 V: 100 mA
    assert rows["event.pin_current"].value == pytest.approx(0.1, rel=0.02)


@pytest.mark.parametrize(
    ("use", "needed", "condition"),
    [
        ("daily", True, None),
        ("mistake", False, "Keep away what your own event 'mine' stands for"),
        ("strike", False, None),
    ],
)
def test_a_users_own_event_says_what_brings_it_about(
    tmp_path: Path, engine: Engine, use: str, needed: bool, condition: str | None
) -> None:
    """9 V through 20 ohm into 10 ohm of driver: 0.3 A forced into a pin for 20 mA."""
    (tmp_path / "mine.cir").write_text(OWN, encoding="utf-8")
    values = f'volts = "9 V", ohms = "1 ohm", mated = "nothing", stop = "50 us", use = "{use}"'
    more = f'event_netlist = "mine.cir"\nevent_values = {{ {values} }}'
    job = parse_job(job_text(more=more, stage_values='series = "10 ohm"'), file=str(tmp_path / "job.toml"))
    plan = plan_of(job)
    (subject,) = subjects_of(plan)
    mine = list(groups_of(subject, own_events(plan, subject)))
    run_groups(engine, mine, lambda done, total, what: None)
    rows = judge_all(Facts(quantities_of(mine[0], None, claims=())))
    margin = next(one for one in rows if one.quantity == "event.margin")
    assert margin.outcome != CONFORMS
    assert (margin.use, margin.needed, margin.condition) == (use, needed, condition)


def test_a_recent_sheets_tests_are_not_those_of_an_old_chip() -> None:
    library = Library.load(None)
    old, recent = library.pin("hc-logic-old").ratings, library.pin("hc-logic").ratings
    assert {"hbm", "cdm", "latch_up"} <= set(recent)
    assert not {"hbm", "cdm", "latch_up"} & set(old)
    assert {name: recent[name] for name in old} == old
    assert "2015" in library.pin("hc-logic").title  # said with every finding that rests on it


def test_lines_built_alike_share_their_runs(engine: Engine) -> None:
    one = findings(engine, job_text(), "misplug")
    job = read(job_text(names='"red", "green", "blue"'))
    (subject,) = subjects_of(plan_of(job))
    assert subject.lines == ("red", "green", "blue")
    assert one["red/bare/event.margin/misplug/5 V"].outcome == DOES_NOT_CONFORM


class TestNotDeclared:
    def test_what_nobody_declared_is_shown_at_the_worst_and_proves_nothing(self, engine: Engine) -> None:
        text = job_text(supply='rail = "5 V"\n', display="")
        row = findings(engine, text, "hot-plug")["red/bare/event.margin/hot-plug/first contact"]
        assert row.outcome == NOT_PROVEN
        assert row.needed
        assert row.value is not None
        assert "the mains, the mains frequency, the Y capacitance of the unit" in row.why

    def test_a_rail_nobody_described_fails_nothing_by_itself(self, engine: Engine) -> None:
        text = job_text(
            supply=SUPPLY.replace('rail_load = "100 mA"\n', "").replace('rail_capacitance = "100 uF"\n', "") + SINGLE,
            guard="schottky-pair",
            stage_values='series = "1.2 kohm"',
            source_values='white = "2 V", impedance = "1 kohm"',
            pin='{ family = "hc-logic" }',
        )
        row = findings(engine, text, "misplug")["red/guarded/event.margin/misplug/12 V"]
        assert "is lifted " in row.why
        assert row.outcome == NOT_PROVEN
        assert "rail capacitance, rail load not declared" in row.why
        assert {"asks-supply.rail_capacitance", "asks-supply.rail_load"} <= set(row.codes)

    def test_a_value_nobody_can_guess_leaves_every_event_unproven(self, tmp_path: Path, engine: Engine) -> None:
        own = ".subckt mine in out vdd gnd ohms=75\nr1 in out {ohms}\n.ends mine\n"
        (tmp_path / "mine.cir").write_text(own, encoding="utf-8")
        text = job_text(stage_values='ohms = "unknown"').replace(
            'stage = "series-resistor"', 'stage_netlist = "mine.cir"'
        )
        job = parse_job(text, file=str(tmp_path / "job.toml"))
        results = event_results(engine, plan_of(job))
        margins = [one for one in results.quantities if one.name == "event.margin"]
        assert {one.event for one in margins} >= {"hot-plug", "misplug", "short-to-ground", "esd-contact"}
        assert all(one.value is None and "stage ohms is unknown" in (one.failure or "") for one in margins)


def test_a_line_exists_that_every_needed_event_lets_pass(engine: Engine) -> None:
    """Sync through 1 kohm and a Schottky pair, symmetric supplies: in daily use the tool can also say yes."""
    text = job_text(
        supply=SUPPLY.replace("100 mA", "400 mA") + SYMMETRIC,
        display=DISPLAY + SYMMETRIC,
        source="logic-pin",
        source_values='high = "5 V", low = "0 V", impedance = "50 ohm"',
        standard="scart-sync",
        stage_values='series = "1 kohm 1%"',
        guard="schottky-pair",
        pin='{ family = "hc-logic" }',
    )
    names = ("hot-plug", "misplug", "short-to-ground", "back-power", "power-step")
    needed = [one for one in findings(engine, text, *names).values() if one.needed and one.use == DAILY]
    assert len(needed) >= 2 * 4
    assert {one.outcome for one in needed} == {CONFORMS}
