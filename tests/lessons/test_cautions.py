"""Cautions and the controls that published rules ask for; sources stand in lessons/tables."""

import csv
import json
import re
from importlib.resources import files

import pytest

from lessons.cautions import (
    CAUTIONS,
    FAMILIES,
    SEVERITIES,
    all_families,
    cautions_for,
    machine_of,
    missing_controls,
    powered,
    required_controls,
)
from lessons.operation_files import read_operations
from shared.places import Items, Mapping, read_yaml

TABLES = files("lessons") / "tables"
OPERATIONS, _ = read_operations()
ROUTES = [(operation.name, name) for operation in OPERATIONS.values() for name in operation.routes]


def text_of(cautions):
    return " ".join(caution.text for caution in cautions)


class TestTable:
    def test_every_row_says_hazard_action_and_source(self):
        """Each caution has a hazard, something to do in fewer than 30 words, a signal word and a source."""
        with (TABLES / "cautions.csv").open(encoding="utf-8", newline="") as lines:
            rows = list(csv.DictReader(lines))
        assert len(rows) == len(CAUTIONS) == 150
        for caution in CAUTIONS.values():
            assert caution.hazard and caution.source and caution.severity in SEVERITIES, caution.id
            assert 4 < len(caution.text.split()) < 30, caution.id
            assert caution.status in ("read", "partly read", "common practice", "from memory"), caution.id

    def test_rows_spell_as_in_the_united_states(self):
        """No British spelling or term is left in what a reader sees."""
        british = re.compile(r"\b(mitre|rebate|vice|anticlockwise|vapour|centre|jewellery|housings?|licence)s?\b", re.I)
        assert [c.id for c in CAUTIONS.values() if british.search(f"{c.text} {c.tool} {c.hazard}")] == []

    def test_every_family_is_known_and_used(self):
        """Families of the table and of families.yaml are the same, and links lead to families."""
        assert {c.family for c in CAUTIONS.values()} == set(FAMILIES)
        assert {name for family in FAMILIES.values() for name in family.adds} <= set(FAMILIES)

    def test_links_of_the_controls_are_kept(self):
        """What required_controls.json says is printed together is printed together."""
        links = json.loads((TABLES / "required_controls.json").read_text("utf-8"))["family_links"]
        assert {"when": "any router operation", "print": ["climb_cut"]} in links
        for family in ("router_table_groove", "router_table_rabbet", "handheld_router"):
            assert "climb_cut" in all_families([family])
        assert {"when": "any machining or sanding", "print": ["dust_extraction"]} in links
        machining = [
            n for n in FAMILIES if machine_of(n) and re.search("saw|router|jointer|planer|drill|sand|sheet", n)
        ]
        assert len(machining) == 14
        for family in [*machining, "sanding_hand"]:
            assert "dust_extraction" in all_families([family]), family


class TestOrder:
    def test_general_cautions_come_first(self):
        """On a machine all 16 general cautions stand before the others."""
        found = cautions_for(["router_table_groove"], machine=True)
        assert [c.family for c in found[:16]] == ["general_workshop"] * 16
        assert "general_workshop" not in {c.family for c in found[16:]}

    def test_dangers_stand_before_warnings_before_the_rest(self):
        """Within a group the gravest comes first; equals go by their id."""
        found = cautions_for(["dado_table_saw", "chisel"], machine=True)[16:]
        keys = [(SEVERITIES.index(c.severity), c.id) for c in found]
        assert keys == sorted(keys)
        assert [c.id for c in found[:2]] == ["DAD-03", "DAD-04"]

    def test_without_a_machine_only_eyes_stay(self):
        """A page of hand work keeps the general caution that concerns everyone: eye protection."""
        found = cautions_for(["chisel"], machine=False)
        assert [c.id for c in found if c.family == "general_workshop"] == ["GEN-01"]

    def test_a_single_caution_can_be_asked_for(self):
        """An id brings that caution alone, not its family."""
        found = cautions_for(["TEN-02"], machine=False)
        assert [c.id for c in found] == ["GEN-01", "TEN-02"]

    def test_unknown_names_are_refused(self):
        """A family that does not exist is an error, never an empty list."""
        with pytest.raises(KeyError, match="router_tabel"):
            cautions_for(["router_tabel"], machine=True)


class TestControls:
    def test_general_controls_belong_to_every_machine(self):
        """Eleven general controls come first, on the drill press as on the saw."""
        general = [c.id for c in required_controls("drill_press", "drill_press")[:11]]
        assert general == [c.id for c in required_controls("table_saw", "rip_table_saw")[:11]]
        assert {"gen_eye", "gen_hearing", "gen_guard", "gen_lockout"} <= set(general)

    def test_ripping_asks_for_the_spreader(self):
        """29 CFR 1910.213(c)(1)-(3): hood, spreader and non-kickback fingers on a hand-fed ripsaw."""
        wanted = {c.id: c.source for c in required_controls("table_saw", "rip_table_saw")}
        assert wanted["ts_hood"].startswith("29 CFR 1910.213(c)(1)")
        assert wanted["ts_spreader"] == "29 CFR 1910.213(c)(2)"
        assert wanted["ts_antikick"].startswith("29 CFR 1910.213(c)(3)")

    @pytest.mark.parametrize("family", ["dado_table_saw", "tenon_table_saw"])
    def test_a_waiver_puts_other_controls_in_place(self, family):
        """WAC 296-307-18512(3): the spreader comes off for a dado, a jig replaces it, it is put back at once."""
        wanted = {c.id for c in required_controls("table_saw", family)}
        assert not wanted & {"ts_spreader", "ts_riving_8mm", "ts_antikick"}
        assert {"ts_comb_jig", "ts_put_back"} <= wanted

    def test_conditions_of_the_machine_are_no_lines_of_a_sheet(self):
        """What only an inspection can see is not asked of a sheet."""
        assert "ts_below_table" not in {c.id for c in required_controls("table_saw", "rip_table_saw")}

    def test_wrong_machine_is_an_error(self):
        """No control is quietly left out because a name was wrong."""
        with pytest.raises(KeyError):
            required_controls("drill_press", "rip_table_saw")
        with pytest.raises(KeyError):
            required_controls("lathe", "rip_table_saw")

    @pytest.mark.parametrize("family", [name for name, family in FAMILIES.items() if family.powered])
    def test_each_powered_family_carries_its_controls(self, family):
        """The cautions of every powered family mention all that rules ask for.

        Tenons take the waiver: flat against an auxiliary fence they are cut with a dado set, so both are printed.
        """
        names = [family, "dado_table_saw"] if family == "tenon_table_saw" else [family]
        assert missing_controls(text_of(cautions_for(names, machine=True)), names) == ()

    def test_a_missing_control_is_found(self):
        """Cautions of the wrong family do not satisfy the right one."""
        text = text_of(cautions_for(["hand_saw"], machine=True))
        assert {c.id for c in missing_controls(text, ["rip_table_saw"])} >= {"ts_spreader", "ts_antikick", "du_lev"}

    @pytest.mark.parametrize(("name", "route"), ROUTES)
    def test_every_route_carries_its_controls(self, name, route):
        """For each operation and route, its own cautions mention every control that applies."""
        way = OPERATIONS[name].routes[route]
        assert missing_controls(text_of(cautions_for(way.cautions, way.powered)), way.cautions) == ()

    def test_machines_were_among_them(self):
        """The check above ran over saws, routers, planers and drills."""
        ways = [OPERATIONS[name].routes[route] for name, route in ROUTES]
        stations = {way.station for way in ways if way.powered}
        assert stations >= {"table saw", "router table", "hand router", "jointer", "planer", "miter saw", "drill press"}
        assert powered(["chisel"]) is False


class TestDeferral:
    def test_the_strictest_counts(self):
        """The order of authority names all four and the strictest."""
        lines = read_yaml((TABLES / "deferral.yaml").read_text("utf-8"), "deferral.yaml")
        said = lines.text("authority")
        for word in ("sheet", "machine's manual", "instructor", "law", "strictest", "stop and ask"):
            assert word in said
        assert "{instructor}" in lines.text("go_ahead") and "does not give permission" in lines.text("go_ahead")

    def test_nothing_promises_that_a_set_up_is_without_danger(self):
        """No line calls a set-up safe, approved or in compliance."""
        words = [(TABLES / "deferral.yaml").read_text("utf-8")]
        words += [text for operation in OPERATIONS.values() for text in operation.texts()]
        for text in words:
            assert not re.search(r"\b(is|are) safe\b|\bapproved\b|\bcompl(y|ies|iant)\b", text), text

    def test_all_lines_are_there(self):
        """Manual, instructor, local rules, licensed people, health and the limits of the sheet each have a line."""
        lines = read_yaml((TABLES / "deferral.yaml").read_text("utf-8"), "deferral.yaml")
        for key in ("manual", "instructor", "stop", "guard_off", "local_rules", "rule_numbers", "finishes", "health"):
            assert lines.text(key), key
        sign_off, licensed = lines.get("sign_off"), lines.get("licensed")
        assert isinstance(sign_off, Mapping) and "{missing}" in sign_off.text("missing")
        assert isinstance(licensed, Items) and len(licensed) == 3
