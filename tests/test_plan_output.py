"""A plan in words, as a picture and as a page: what stands where, widths, escapes. The build is invented."""

import json
from dataclasses import replace
from html.parser import HTMLParser
from importlib.resources import files
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from jsonschema import Draft202012Validator

from monitor.config import demo_profile
from monitor.page_parts import POLICY
from monitor.plan_pages.blocks import Heading, Items, Table, Timeline, Typed, Words
from monitor.plan_pages.data import json_text, plan_data
from monitor.plan_pages.load_out_data import load_out_data
from monitor.plan_pages.page import FIRST_LINE, page_text
from monitor.plan_pages.picture import picture_columns, picture_lines
from monitor.plan_pages.places import place_of, set_point_line
from monitor.plan_pages.report import Report
from monitor.plan_pages.strip import Cell, Row, Strip, strip_of
from monitor.plan_pages.svg import svg_text
from monitor.plan_pages.words import plan_blocks
from monitor.planning.load_out import load_out
from monitor.planning.options import Changes
from monitor.planning.plan import Plan, make_plan, prepared
from monitor.planning.settings import PlanSettings
from tests.planned_builds import HOUR_S, Turn, build_text, lantern, layers, schedule_of

SCHEMA = json.loads(files("monitor.plan_pages").joinpath("plan.schema.json").read_text(encoding="utf-8"))


def _plan(turns: list[Turn], manifold_c: float | None = 195.0, settings: PlanSettings | None = None) -> Plan:
    profile = demo_profile()
    used = profile.planning if settings is None else settings
    return make_plan(prepared(profile.parameters, used, schedule_of(turns, manifold_c)))


def _text(plan: Plan, width: int = 80, name: str = "lantern", *, ascii_only: bool = False) -> str:
    return "\n".join(Report(width, ascii_only=ascii_only).lines(plan_blocks(plan, name, picture_columns(width))))


def _flat(text: str) -> str:
    return " ".join(text.split())


@pytest.fixture(scope="module")
def lantern_plan() -> Plan:
    """The twelve hours of six materials; planned once."""
    return _plan(lantern())


@pytest.fixture(scope="module")
def short_plan() -> Plan:
    """An hour in which all goes well."""
    return _plan(layers(1.0, 1, 2), None)


class TestWords:
    """What is told."""

    def test_the_answer_comes_first(self, lantern_plan: Plan) -> None:
        """Who does not survive, and what saves all."""
        told = _flat(_text(lantern_plan))
        assert told.startswith("Plan of lantern on demo machine (invented)")
        assert (
            "Not all strands survive this build as planned: input 4 (withdraw after use), 6 (will not survive)." in told
        )
        assert lantern_plan.best is not None
        assert f"What saves all: {lantern_plan.best.name}; told in full below." in told

    def test_the_schedule_is_that_of_the_turns(self, lantern_plan: Plan) -> None:
        """Ember: 1.8 m in six turns, a gap of ten hours and a half; chalk is never used after 50 minutes."""
        lines = _text(lantern_plan).splitlines()
        assert any(
            line.split()[:6] == ["6", "ember", "accent", "1.8", "m", "0:10"] and "10:35 from 0:55" in line
            for line in lines
        )
        assert any(line.startswith(" 4  chalk") and "11:10 to the end" in line for line in lines)

    def test_the_cheapest_is_told_in_full(self, lantern_plan: Plan) -> None:
        """Set point with its line, withdrawal with its length and when."""
        assert lantern_plan.best is not None
        told = _flat(_text(lantern_plan))
        assert f"In full: {lantern_plan.best.name}" in told
        for words in (
            "190 °C M104 T9 S190 0:00, before the first move",
            "Take out the file's own: line 5.",
            "input 4: after 0:50, about line",
            "and before 5:03, when it passes its warn dose as planned: by 52 mm",
            "G1 E-52 F300",
            "Nothing was sent to the machine",
            "Dose limits are judgement",
        ):
            assert words in told

    def test_what_saves_all_even_slowly_is_told_in_full_as_well(self, lantern_plan: Plan) -> None:
        """Where the best does not, but another does: that one follows it, each set point with its line."""
        safer = next(option for option in lantern_plan.tried if len(option.changes.set_points) > 2)
        assert lantern_plan.slow is not None
        unsafe = replace(lantern_plan.slow, then=lantern_plan.as_planned, safer=safer)
        told = _flat(_text(replace(lantern_plan, slow=unsafe)))
        assert (
            f"not all survive with that: input 4 (withdraw after use), 6 (will not survive). With {safer.name}" in told
        )
        assert told.count("In full: ") == 2
        assert f"In full: {safer.name}" in told
        assert all(f"M104 T9 S{point.set_c:g}" in told for point in safer.changes.set_points)

    def test_a_build_that_goes_well_asks_for_nothing(self, short_plan: Plan) -> None:
        """No options; four strands need not be loaded; the manifold was nobody's word, and that is said."""
        told = _flat(_text(short_plan))
        assert "Every strand survives this build as planned." in told
        assert "the file does not set the manifold: it is taken to be held at 186 °C, the lowest" in told
        assert "inputs 3, 4, 5, 6 need not be loaded: the build never feeds them." in told
        assert "In full" not in told

    def test_what_nothing_saves_is_told_plainly(self) -> None:
        """A cold end at 85 °C softens moss wherever the manifold is: lost in every option, and what remains."""
        plan = _plan(layers(2.0, 1, 3), settings=replace(demo_profile().planning, cold_end_c=85.0))
        told = _flat(_text(plan))
        assert plan.best is None
        assert 3 in plan.lost_in_all
        assert "Nothing that was tried saves all: input" in told
        assert "split the build" in told
        assert "are lost in every option" in told
        assert "cool the cold end: strands are soft where they must be stiff" in told
        assert "What it leaves undone: · input 1: will not survive; soft where it must be stiff" in told

    def test_an_option_that_changes_nothing_is_not_told(self) -> None:
        """Where the plan holds the manifold at the lowest set point itself, that is no option beside it."""
        plan = _plan([Turn(4, 300.0), *layers(8.0, 1, 2)], None)
        assert plan.manifold_c == 186.0
        assert [option.name for option in plan.tried if option.name == "manifold at 186 °C"] == []
        assert any(option.name.startswith("manifold at 186 °C, ") for option in plan.tried)

    def test_what_is_not_sure_of_the_strands_is_told(self) -> None:
        """Rules of thumb and strands not known to be dry stand among the cautions."""
        profile = demo_profile()
        first, *rest = profile.parameters.strands
        damp = replace(first, dried=False, material=replace(first.material, min_feed_is_rule=True, wet_factor=3.0))
        parameters = replace(profile.parameters, strands=(damp, *rest))
        told = _flat(_text(make_plan(prepared(parameters, profile.planning, schedule_of(layers(0.5, 1, 2), 195.0)))))
        assert "How cool input 1 may be and still feed is a rule of thumb" in told
        assert "Not known to be dry, and so reckoned to age faster: input 1 (dried = true in the profile)." in told

    def test_the_slow_end_of_the_time_is_told(self, lantern_plan: Plan, short_plan: Plan) -> None:
        """Without known accelerations a build may take 1.6 times as long, and what saves it must save it then too."""
        assert lantern_plan.slow is not None
        assert lantern_plan.slow.option is lantern_plan.best
        assert lantern_plan.slow.then.risk > lantern_plan.slow.option.risk
        told = _flat(_text(lantern_plan))
        length = "it takes 19:12 h, as long as it may"
        assert (f"Even if {length}, all survive with that." in told) == lantern_plan.slow.then.is_safe
        assert (f"But if {length}, not all survive with that" in told) == (not lantern_plan.slow.then.is_safe)
        assert "Even if it takes 1:36 h, as long as it may, all survive as planned." in _flat(_text(short_plan))

    def test_a_strand_that_is_not_loaded_is_told(self) -> None:
        """Input 6 is fed, and nothing is there."""
        profile = demo_profile()
        parameters = replace(profile.parameters, strands=profile.parameters.strands[:5])
        plan = make_plan(prepared(parameters, profile.planning, schedule_of(layers(0.5, 1, 6), 195.0)))
        assert not plan.survives
        assert plan.as_planned.is_safe
        assert "Input 6 feeds 900 mm, but no strand is loaded there." in _flat(_text(plan))

    def test_tools_without_an_input_are_told(self) -> None:
        """Tool 7 of six inputs."""
        told = _flat(_text(_plan([Turn(1, 300.0), Turn(8, 300.0)])))
        assert "Tools of which no input is known (T7) feed 300 mm" in told

    @pytest.mark.parametrize("width", [60, 80, 120])
    def test_no_line_is_wider_than_asked_for(self, width: int, lantern_plan: Plan) -> None:
        """Nothing is lost either: the longest word of the file's name is broken."""
        lines = _text(lantern_plan, width, "a" * 150).splitlines()
        assert max(map(len, lines)) <= width

    def test_ascii_means_ascii(self, lantern_plan: Plan) -> None:
        """Nothing else, and no question marks in place of what has no stand-in."""
        text = _text(lantern_plan, ascii_only=True)
        assert text.isascii()
        assert "?" not in text

    def test_names_cannot_command_the_terminal(self, short_plan: Plan) -> None:
        """A file may be called anything."""
        text = _text(short_plan, name="\x1b]0;x\x07\u202eevil\n\x9b31m")
        assert not {"\x1b", "\x07", "\u202e", "\x9b"} & set(text)

    def test_colours_only_repeat(self, lantern_plan: Plan) -> None:
        """With the escapes taken out the text is the same."""
        blocks = list(plan_blocks(lantern_plan, "lantern", 60))
        plain, coloured = list(Report(80).lines(blocks)), list(Report(80, colour=True).lines(blocks))
        assert any("\x1b[31m" in line for line in coloured)
        taken = [
            line.split("m", 1)[1].removesuffix("\x1b[0m") if line.startswith("\x1b") else line for line in coloured
        ]
        assert taken == plain


class TestStrip:
    """The timeline, cut into columns."""

    def test_columns_hold_what_happens_in_them(self) -> None:
        """Two hours: input 1 feeds the first; input 2 a quarter of an hour in the third half hour; 3 stands."""
        turns = [Turn(1, HOUR_S), Turn(2, HOUR_S / 8), Turn(1, 0.875 * HOUR_S)]
        plan = _plan(turns, 172.0)
        strip = strip_of(plan.build, plan.as_planned, 4)
        assert strip.length_s == pytest.approx(2 * HOUR_S, abs=1.0)
        assert strip.rows[0].cells[:2] == (Cell.FEEDS, Cell.FEEDS)
        assert strip.rows[1].cells == (Cell.STANDS, Cell.STANDS, Cell.FEEDS_PARTLY, Cell.STANDS)
        assert strip.rows[2].cells == (Cell.STANDS,) * 4
        assert strip.manifold_c == pytest.approx((172.0,) * 4)

    def test_what_has_aged_goes_before_what_feeds(self, lantern_plan: Plan) -> None:
        """Chalk stands past half its warn dose, past it, past its limit, one after the other, and stays there."""
        cells = strip_of(lantern_plan.build, lantern_plan.as_planned, 72).rows[3].cells
        late = cells[6:]
        assert list(late) == sorted(late)
        assert set(late) == {Cell.STANDS, Cell.PAST_HALF, Cell.PAST_WARN, Cell.PAST_LIMIT}

    def test_a_withdrawn_strand_is_gone(self, lantern_plan: Plan) -> None:
        """From its withdrawal on."""
        best = lantern_plan.best
        assert best is not None
        cells = strip_of(lantern_plan.build, best, 72).rows[3].cells
        assert set(cells[6:]) == {Cell.GONE}

    def test_the_picture_fits_its_columns(self, lantern_plan: Plan) -> None:
        """80 cells, hours below where they begin, the manifold's number where it changes."""
        strip = strip_of(lantern_plan.build, lantern_plan.as_planned, picture_columns(80))
        lines = list(picture_lines(strip))
        assert max(map(len, lines)) <= 80
        assert lines[6].startswith("   manifold °C    195───")
        assert lines[7].split() == ["hours", "0", "2", "4", "6", "8", "10"]
        hours = lines[7]
        assert hours.index("6") - 18 == pytest.approx(picture_columns(80) / 2, abs=1)

    def test_a_changing_manifold_gets_its_numbers(self) -> None:
        """A change of 2 K or more is written, none over the end."""
        strip = Strip(3600.0, (Row(1, "one", (Cell.STANDS,) * 12),), (190.0,) * 4 + (181.0,) * 5 + (200.0,) * 3)
        assert list(picture_lines(strip))[1].endswith("190─181──200")


class TestPlaces:
    """Where in the file a time is."""

    def test_lines_are_found(self) -> None:
        """Five thousand even moves: each is found to a line; before the first mark, to the lines of the beginning."""
        turns = [Turn(1, 5000.0 * 60.0)]
        text = build_text(turns).splitlines()
        schedule = schedule_of(turns)
        first = next(number for number, line in enumerate(text, 1) if line.startswith("G1"))
        for move in range(0, 5000, 100):
            within = 1 if move >= 1000 else first
            assert place_of(schedule, (move + 0.5) * 60.0).line == pytest.approx(first + move, abs=within)

    def test_a_heater_without_a_tool_has_no_line(self) -> None:
        """The profile must say by which number the file sets it."""
        profile = demo_profile()
        schedule = schedule_of(layers(0.2, 1), None)
        assert set_point_line(prepared(profile.parameters, profile.planning, schedule), 190.0) == "M104 T9 S190"
        assert set_point_line(prepared(profile.parameters, PlanSettings(), schedule), 190.0) is None


class _Tags(HTMLParser):
    """Collects what a page is made of."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.values: list[str] = []
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Keep tag and values."""
        self.tags.append(tag)
        self.values += [value or "" for _, value in attrs]

    def handle_data(self, data: str) -> None:
        """Keep the text."""
        self.text += data


class TestPage:
    """The same for a browser."""

    def test_it_holds_what_the_text_holds(self, lantern_plan: Plan) -> None:
        """Every sentence and cell of the blocks stands in the page."""
        blocks = list(plan_blocks(lantern_plan, "lantern", 480))
        page = _Tags()
        page.feed(page_text(blocks))
        for block in blocks:
            match block:
                case Heading(text=text) | Words(text=text) | Timeline(title=text):
                    assert text in page.text
                case Items(texts=texts) | Typed(lines=texts):
                    assert all(text in page.text for text in texts)
                case Table(rows=rows):
                    assert all(cell in page.text for row in rows for cell in row)
        assert page.tags.count("svg") == sum(isinstance(block, Timeline) for block in blocks) >= 2

    def test_nothing_is_fetched_and_nothing_runs(self, lantern_plan: Plan) -> None:
        """No script, no link, no address; and the page itself forbids them."""
        text = page_text(plan_blocks(lantern_plan, "lantern", 480))
        page = _Tags()
        page.feed(text)
        assert text.startswith(FIRST_LINE)
        assert not {"script", "link", "img", "iframe", "a", "object"} & set(page.tags)
        assert "http" not in text.replace("http-equiv", "")
        assert "url(" not in text
        assert POLICY in page.values
        assert "prefers-color-scheme: dark" in text
        assert "@media print" in text

    def test_everything_is_escaped(self, short_plan: Plan) -> None:
        """Names full of markup stay names."""
        evil = "</title><script>alert('x')</script>&<b>\""
        text = page_text([*plan_blocks(short_plan, evil, 48), Items((evil,)), Typed((evil,)), Words(evil)])
        page = _Tags()
        page.feed(text)
        assert "script" not in page.tags
        assert "b" not in page.tags
        assert text.count("&lt;script&gt;") == 5
        strip = Strip(60.0, (Row(1, evil, (Cell.FEEDS,)),), (190.0,))
        assert "<script" not in svg_text(strip, evil)

    def test_the_drawing_is_sound_and_to_scale(self, lantern_plan: Plan) -> None:
        """Well-formed; bars of a row lie side by side and fill its width where the strand is there all the time."""
        strip = strip_of(lantern_plan.build, lantern_plan.as_planned, 480)
        drawing = ET.fromstring(svg_text(strip, "timeline"))  # noqa: S314 -- our own text
        bars = [bar for bar in drawing.iter("rect") if float(bar.attrib["height"]) == 16.0]
        width = sum(float(bar.attrib["width"]) for bar in bars)
        assert width == pytest.approx(6 * 800.0, rel=1e-3)
        assert {"FEEDS", "PAST_LIMIT"} <= {bar.attrib["class"] for bar in bars}


class TestData:
    """What `--json` prints."""

    @pytest.mark.parametrize("name", ["lantern_plan", "short_plan"])
    def test_a_plan_keeps_to_the_schema(self, name: str, request: pytest.FixtureRequest) -> None:
        """And says what the words say."""
        plan: Plan = request.getfixturevalue(name)
        data = json.loads(json_text(plan_data(plan, "a file")))
        Draft202012Validator(SCHEMA).validate(data)
        assert data["survives"] == plan.survives
        assert data["best"] == (0 if plan.survives else plan.tried.index(plan.best or plan.as_planned))

    def test_a_load_keeps_to_the_schema(self) -> None:
        """The other kind."""
        profile = demo_profile()
        data = load_out_data(load_out(profile.parameters, profile.planning), profile.parameters)
        Draft202012Validator(SCHEMA).validate(json.loads(json_text(data)))

    def test_the_schema_is_sound_and_can_refuse(self, short_plan: Plan) -> None:
        """A key too many is told."""
        Draft202012Validator.check_schema(SCHEMA)
        data = plan_data(short_plan, "a file")
        assert not Draft202012Validator(SCHEMA).is_valid(data | {"surprise": 1})
        assert not Draft202012Validator(SCHEMA).is_valid(data | {"best": "first"})


def test_a_purge_is_told_with_its_place_and_mass(lantern_plan: Plan) -> None:
    """Ember, three minutes before its use at 11:30, by the length that the verdict asks for."""
    purged = next(option for option in lantern_plan.tried if option.name.endswith("purged before use"))
    (advance,) = purged.changes.advances
    told = _flat(_text(replace(lantern_plan, tried=(lantern_plan.as_planned, purged), slow=None)))
    assert f"input 6: {advance.length_mm:.0f} mm at 11:27, about line" in told
    assert f"({purged.waste_g:.2g} g)" in told


def test_faults_of_an_option_are_told(lantern_plan: Plan) -> None:
    """In the table, and as a sentence where the build as planned has them."""
    hot = _plan(layers(0.5, 1, 2), 262.0)
    told = _flat(_text(hot))
    assert "The liner in heat break comes to 262 °C; its first limit is 240 °C." in told
    purged = next(option for option in lantern_plan.tried if option.name.endswith("purged before use"))
    assert purged.warned > 0
    assert f"survive, {purged.warned} warned" in _text(lantern_plan)


def test_moves_that_keep_a_strand_fresh_are_told_at_once(lantern_plan: Plan) -> None:
    """How much, how often, from when to when, and what they weigh."""
    moving = next(option for option in lantern_plan.tried if option.name.endswith("kept moving"))
    only = replace(lantern_plan, tried=(lantern_plan.as_planned, moving), slow=None)
    advances = [it for it in moving.changes.advances if it.input == 6]
    told = _flat(_text(only))
    assert f"{len(advances)} times from" in told
    assert f"({moving.waste_g:.2g} g in all)" in told


def test_set_points_in_the_middle_say_where_in_the_file(lantern_plan: Plan) -> None:
    """Each with its own time, rising in the file."""
    several = next(option for option in lantern_plan.tried if len(option.changes.set_points) > 2)
    places = [place_of(lantern_plan.build.schedule, it.time_s) for it in several.changes.set_points]
    assert [place.line for place in places] == sorted(place.line for place in places)
    assert np.diff([place.time_s for place in places]).min() > 0.0
    assert Changes().set_points == ()
