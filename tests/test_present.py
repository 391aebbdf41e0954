"""The pieces a frame is made of: words, bars, rows, bands and the picture."""

from dataclasses import replace

import numpy as np
import pytest

from monitor.core.alert_types import AlertState, Priority
from monitor.core.assessment import Condition, Quality
from monitor.core.span import Span
from monitor.tui.alert_band import alert_band, notice_lines
from monitor.tui.columns import columns_for
from monitor.tui.dose_bar import dose_bar
from monitor.tui.ink import Line, ascii_text, crop, fit, width_of, wrap
from monitor.tui.ink import Span as Ink
from monitor.tui.key_help import help_page
from monitor.tui.keys import keys_of
from monitor.tui.pages import Page
from monitor.tui.path.picture import hot_path_picture
from monitor.tui.path.scale import LEVELS, ageing_marks, heat_levels, scale_for
from monitor.tui.path.side import side_texts
from monitor.tui.present import frame
from monitor.tui.strand_rows import strand_rows
from monitor.tui.view import View
from monitor.tui.words import activity, duration, share_of_limit, time_left, time_left_range
from tests import screen_samples as samples


def text_of(lines: list[Line]) -> list[str]:
    return ["".join(span.text for span in line) for line in lines]


def view_of(name: str) -> View:
    return View(getattr(samples, name)(), "simulated machine", clock="03:12:07")


@pytest.mark.parametrize("time_s", [0, 59.9, 60, 3599, 3600, 35_999, 36_000, 359_999])
def test_a_duration_never_says_more_than_there_is(time_s: float) -> None:
    """Time left is rounded down, so that the owner never has less than the screen says."""
    shown = duration(time_s).replace("min", "m").split()
    units = {"h": 3600, "m": 60, "s": 1}
    said_s = sum(int(number) * units[unit] for number, unit in zip(shown[::2], shown[1::2], strict=True))
    assert said_s <= time_s < said_s + 3600


def test_time_left_names_the_next_mark() -> None:
    """Before the warn dose the time runs to `warn`, after it to `limit`, and past that the words say so."""
    assert time_left(samples.strand(2, dose_share=0.2)) == "warn 2 h 24 min"
    assert time_left(samples.strand(2, dose_share=0.7)) == "limit 1 h 48 min"
    assert time_left(samples.strand(2, dose_share=1.1)) == "limit passed"


def test_time_left_range_adds_the_hopeful_end() -> None:
    """The cautious end stands first; an end without a limit says so instead of an endless number."""
    strand = replace(samples.strand(2), warn_left_s=Span(600.0, 1500.0))
    assert time_left_range(strand) == "warn 10 min – 25 min"
    endless = replace(strand, warn_left_s=Span(600.0, samples.NEVER))
    assert time_left_range(endless) == "warn 10 min – no limit"
    assert time_left_range(replace(strand, warn_left_s=Span(samples.NEVER, samples.NEVER))) == "no limit ahead"


@pytest.mark.parametrize("width", [3, 10, 14, 60])
def test_the_bar_always_shows_both_marks(width: int) -> None:
    """Warn and limit are told apart by character at every dose, without colour."""
    for dose_min in (0.0, 59.0, 61.0, 99.0, 101.0, 1e9):
        bar = dose_bar(dose_min, 60, 100, width)
        assert len(bar) == width
        assert bar.count("w") == 1
        assert bar.count("L") == 1
        assert bar.index("w") < bar.index("L")


def test_the_bar_passes_a_mark_when_the_dose_does() -> None:
    """Right of a mark the bar is filled only when the dose is past it."""
    below, above = dose_bar(58, 60, 100, 40), dose_bar(64, 60, 100, 40)
    after = below.index("w") + 1
    assert below[after] == "·"
    assert above[after] in "█▌"
    past_limit = dose_bar(110, 60, 100, 40)
    assert past_limit[past_limit.index("L") + 1] in "█▌"


def test_wrapping_loses_nothing() -> None:
    """Joined again, wrapped text is the text, also where a word is longer than the line."""
    text = "advance 14 mm of a-very-long-unbroken-word-from-a-profile then wait"
    for width in (1, 5, 17, 80):
        rows = wrap(text, width)
        assert all(len(row) <= width for row in rows)
        assert "".join(rows).replace(" ", "") == text.replace(" ", "")


def test_wide_characters_count_as_two_cells() -> None:
    """Fitting and cropping count cells, not characters, so that columns stay in place."""
    assert fit("炭火 ember", 6) == "炭火 …"
    assert width_of(crop((Ink("炭火炭火"), Ink("tail")), 5)) == 5
    assert ascii_text("炭°") == "?? "


def test_ascii_keeps_the_five_levels_apart() -> None:
    """The plain fallback maps the levels, the bar and the three priorities to different characters."""
    for kinds in (LEVELS + "━│", "█▌·", "▲◆●"):
        assert len(set(ascii_text(kinds))) == len(kinds)


def test_columns_never_exceed_the_width() -> None:
    """At every width the columns with their gaps fit, and time left is always among them."""
    for width in range(17, 240):
        columns = columns_for(width)
        assert sum(cells for _, cells in columns) + len(columns) - 1 <= width
        assert "left, at least" in [column.title for column, _ in columns]


def test_a_wider_screen_never_loses_a_column() -> None:
    """What is shown at one width is shown at every greater one."""
    shown: set[str] = set()
    for width in range(17, 240):
        now = {column.title for column, _ in columns_for(width)}
        assert shown <= now
        shown = now


def test_rows_carry_the_mark_of_their_most_urgent_alert() -> None:
    """The symbol before an input is that of its most urgent alert; a strand without one has none."""
    view = view_of("troubled")
    assert view.latest is not None
    rows = text_of(strand_rows(view, view.latest, 80, 7))[1:]
    assert [row[1] for row in rows] == ["●", "◆", "◆", "▲", " ", "●"]


def test_an_abnormal_condition_without_an_alert_still_has_a_mark() -> None:
    """A FAULT shows even if no alert names the input."""
    calm = samples.healthy()
    strands = (replace(calm.strands[0], condition=Condition.FAULT), *calm.strands[1:])
    latest = replace(calm, strands=strands)
    assert text_of(strand_rows(View(latest, ""), latest, 80, 7))[1].startswith(" ▲ 1 ")


def test_stale_values_are_kept_dim_with_a_question_mark() -> None:
    """A stale row keeps its last values, each with a question mark, and is dim as a whole."""
    view = view_of("stale")
    assert view.latest is not None
    row = strand_rows(view, view.latest, 80, 7)[2]
    text = "".join(span.text for span in row)
    assert "idle 31 min?" in text
    assert "warn 2 h 24 min?" in text
    assert row[-1].look.dim


def test_without_room_the_most_urgent_inputs_stay_and_the_rest_is_counted() -> None:
    """Three lines for six inputs show the two with the worst alerts, in order, and say that four are missing."""
    view = view_of("troubled")
    assert view.latest is not None
    rows = text_of(strand_rows(view, view.latest, 80, 3))
    assert [row[1:4] for row in rows[:2]] == ["◆ 2", "▲ 4"]
    assert "4 more inputs" in rows[2]


def test_the_band_shows_every_alert_in_full_where_there_is_room() -> None:
    """Word, symbol, input, state, age, text and action of every announced alert; a shelved one is left out."""
    view = view_of("troubled")
    assert view.latest is not None
    rows = text_of(alert_band(view, view.latest, 100, 40))
    assert rows[0] == "▸▲ ALARM input 4, aged material  Unacknowledged, for 22 min; act within 7 min"
    assert sum(row.startswith("  do: advance 14 mm, or withdraw") for row in rows) == 6
    assert not any("input 5" in row for row in rows)
    assert view.hidden_alerts == 1


def test_an_action_is_whole_or_absent_at_every_size() -> None:
    """However narrow or low the band, an action that is begun is shown to its last word."""
    latest = replace(samples.troubled(), alerts=(samples.alert(Priority.ALARM, 4, action="cut " * 30 + "end"),) * 3)
    for width in range(16, 120, 7):
        for rows in range(12):
            text = " ".join(" ".join(text_of(alert_band(View(latest, ""), latest, width, rows))).split())
            assert text.count("do:") == text.count("cut end")
            assert text.count("do:") >= 1


def test_unacknowledged_is_reversed_acknowledged_is_not_and_cleared_is_dim() -> None:
    """The state of an alert shows by its look, besides its word."""
    looks = {}
    for state in (AlertState.UNACKNOWLEDGED, AlertState.ACKNOWLEDGED, AlertState.RETURNED):
        latest = replace(samples.healthy(), alerts=(samples.alert(Priority.WARNING, 2, state=state),))
        line = alert_band(View(latest, ""), latest, 80, 9)[0]
        looks[state] = line[1].look
        assert state.value in "".join(span.text for span in line)
    assert looks[AlertState.UNACKNOWLEDGED].reverse
    assert not looks[AlertState.ACKNOWLEDGED].reverse
    assert looks[AlertState.RETURNED].dim
    assert looks[AlertState.RETURNED].signal is None


def test_the_chosen_alert_is_the_one_in_full() -> None:
    """With room for one alert only, the owner's choice is shown with its action and the others are counted."""
    latest = samples.troubled()
    view = View(latest, "", selected=latest.alerts[3].id)
    rows = text_of(alert_band(view, latest, 80, 4))
    assert rows[0].startswith("▸● CAUTION input 6")
    assert rows[-1].strip().startswith("5 more, up to ALARM")


def test_a_quiet_band_names_the_strand_that_is_next() -> None:
    """Without alerts the band says whose time runs out first; with old data it does not reassure."""
    latest = samples.healthy()
    sooner = replace(latest.strands[2], warn_left_s=Span(1800.0, 5000.0))
    latest = replace(latest, strands=(*latest.strands[:2], sooner, *latest.strands[3:]))
    (row,) = text_of(alert_band(View(latest, ""), latest, 100, 9))
    assert row == "  no alerts; next: input 3, moss support, at least 30 min to its warn dose"
    stale = replace(latest, quality=Quality.STALE)
    (row,) = text_of(alert_band(View(stale, ""), stale, 100, 9))
    assert "not those of now" in row


def test_a_notice_is_told_in_full() -> None:
    """What is wrong with the watch itself is wrapped, not cut."""
    notice = "recording failed: disk full; free some space, it goes on by itself"
    rows = text_of(notice_lines(notice, 30))
    assert " ".join(" ".join(rows[1:]).split()) == notice
    assert notice_lines("", 30) == []


@pytest.mark.parametrize("rows", [6, 10, 23, 70])
def test_the_path_is_to_scale(rows: int) -> None:
    """Every row is equally high above the merge point, and each millimetre lies in the row that says so."""
    scale = scale_for(samples.ZONES, rows)
    assert scale.rows == rows
    assert scale.edges_mm(0)[1] == pytest.approx(52.0)
    assert scale.edges_mm(rows - 1)[0] == pytest.approx(-18.0)
    for x_mm in (0.0, 7.3, 16.0, 29.9, 51.9):
        row = scale.row_of(x_mm)
        assert row is not None
        lower_mm, upper_mm = scale.edges_mm(row)
        assert lower_mm - 1e-6 <= x_mm < upper_mm


def test_heat_is_shown_against_the_strands_own_glass_transition() -> None:
    """The same 70 °C is stiff in one strand and soft in another."""
    warm = np.full(104, 70.0)
    scale = scale_for(samples.ZONES, 14)
    stiff = replace(samples.strand(5), temp_c=warm)  # glass transition 85 °C
    soft = replace(samples.strand(4), temp_c=warm)  # glass transition 55 °C
    assert set(heat_levels(stiff, scale)) == {":"}
    assert set(heat_levels(replace(stiff, temp_c=warm - 1), scale)) == {"·"}
    assert set(heat_levels(soft, scale)) == {"░"}
    assert set(heat_levels(replace(soft, temp_c=warm + 30), scale)) == {"▒"}
    assert set(heat_levels(replace(soft, temp_c=warm + 90), scale)) == {"▓"}


@pytest.mark.parametrize("rows", [8, 14, 90, 400])
def test_one_aged_parcel_is_never_missed(rows: int) -> None:
    """A single parcel past its limit marks its row at every scale, also where a row holds several parcels."""
    scale = scale_for(samples.ZONES, rows)
    for at in (0, 31, 103):
        dose_min = np.zeros(104)
        dose_min[at] = 100.0
        strand = replace(samples.strand(1), dose_min=dose_min)
        marks = ageing_marks(strand, scale)
        assert len(marks) == scale.upstream_rows
        row = scale.row_of(float(strand.x_mm[at]))
        assert row is not None
        assert "L" in marks[max(0, row - 1) : row + 2]


def test_the_soft_front_stands_in_its_row_with_its_millimetres() -> None:
    """The front of the strand that is soft too far lies above the line where it must be stiff."""
    view = view_of("troubled")
    assert view.latest is not None
    rows = text_of(hot_path_picture(view, view.latest, 120, 40))
    front_row = next(at for at, row in enumerate(rows) if "│ 33" in row)
    stiff_row = next(at for at, row in enumerate(rows) if "┄" in row)
    assert rows[front_row].count("━") > 0
    assert front_row < stiff_row
    assert any("│L" in row for row in rows)
    assert any("│w" in row for row in rows)


def test_the_picture_has_its_zones_in_flow_order_from_the_top() -> None:
    """Cold end at the top, nozzle at the bottom, each at its side of the picture."""
    view = view_of("healthy")
    assert view.latest is not None
    for width, height in ((80, 12), (120, 30)):
        rows = text_of(hot_path_picture(view, view.latest, width, height))
        assert len(rows) == height
        places = [next(at for at, row in enumerate(rows) if row.startswith(zone.name)) for zone in samples.ZONES]
        assert places == sorted(places)


def test_a_wall_that_is_not_of_now_says_so() -> None:
    """A stale sensor keeps its value with a question mark and an age; one never heard of shows a dash, never 0."""
    scale = scale_for(samples.ZONES, 30)
    stale = side_texts(samples.stale(), scale, 28, is_old=False)
    assert any("195 °C?" in text for text in stale)
    assert any("75 s old" in text for text in stale)
    first = side_texts(samples.heating_up(), scale, 28, is_old=False)
    assert any("– °C?" in text for text in first)


def test_an_estimated_wall_is_marked() -> None:
    """A cold end without a sensor never looks measured: its mark stays even where the name leaves little room."""
    unsure = samples.unsure()
    for rows, width, told in ((30, 28, "~41 °C est."), (12, 20, "~41 °C")):
        for is_old in (False, True):
            texts = side_texts(unsure, scale_for(samples.ZONES, rows), width, is_old=is_old)
            assert texts[0].startswith("cold end")
            assert texts[0].split("end")[1].strip() == told + "?" * is_old
    assert not any(
        "~" in text for text in side_texts(samples.healthy(), scale_for(samples.ZONES, 30), 28, is_old=False)
    )


def test_idle_time_is_a_range_where_a_gap_leaves_it_open() -> None:
    """Both ends in full where they fit, else in whole units, rounded outwards."""
    strand = replace(samples.strand(2), idle_s=3.2 * samples.HOUR_S, idle_low_s=720.0)
    assert activity(strand, 30) == "idle 12 min to 3 h 12 min"
    assert activity(strand, 16) == "idle 12 min–4 h"
    assert activity(replace(strand, idle_low_s=None), 16) == "idle 3 h 12 min"
    assert activity(replace(strand, idle_s=1500.0), 20) == "idle 12–25 min"
    assert activity(replace(strand, idle_s=725.0), 20) == "idle 12 min"


@pytest.mark.parametrize("idle_s", [60.0, 3599.0, 3601.0, 36_000.0, 400_000.0])
def test_a_range_of_idle_time_never_hides_its_high_end(idle_s: float) -> None:
    """Whatever the range, the narrowest column shows both its ends, each with its unit or with the other's."""
    strand = replace(samples.strand(2), idle_s=idle_s, idle_low_s=idle_s / 2)
    shown = activity(strand, 16)
    assert len(shown) <= 16
    assert "–" in shown
    assert shown.split()[-1] in ("s", "min", "h")


def test_a_dose_is_a_range_where_a_gap_leaves_it_open() -> None:
    """The bar changes its character where the dose is no longer sure, and the share shows both ends."""
    strand = samples.unsure().strands[1]
    assert dose_bar(50, 60, 100, 20, 20) == "███▒▒▒▒▒·w·····L····"
    assert dose_bar(50, 60, 100, 20, None).count("█") == 8
    assert share_of_limit(strand) == "20–50%"
    assert share_of_limit(replace(strand, dose_low_min=49.9)) == "50%"
    assert share_of_limit(replace(strand, dose_low_min=None)) == "50%"


def test_the_shared_channel_stands_beside_its_picture() -> None:
    """Whose material, what part of the channel and how old, in the picture's own lines: none is taken from others."""
    known = View(samples.unsure(), "simulated machine", clock="03:12:07")
    lines = text_of(list(frame(known, 120, 40)))
    assert any("shared: 80 % of 1, 12 s; 20 % of 4, 4 min" in line for line in lines)
    blank = replace(known, latest=replace(samples.unsure(), shared=()))
    assert sum("shared by all" in line for line in text_of(list(frame(blank, 120, 40)))) == 1
    assert len(lines) == 40


def test_the_page_of_help_fits_a_small_screen() -> None:
    """At 80 × 24 with an alert on top, keys, marks, rows and cautions are there to the last word."""
    view = replace(view_of("troubled"), page=Page.HELP)
    text = "\n".join(text_of(list(frame(view, 80, 24))))
    assert "leave, call for help" in text
    assert "more line" not in text
    assert all(word in text for word in ("est.", "to ▒", "of 5"))


@pytest.mark.parametrize("helped", list(Page))
def test_the_help_page_names_every_key_of_its_page_and_the_first_caution(helped: Page) -> None:
    """Keys and help come from one table; the page says that the program does not protect."""
    view = replace(view_of("healthy"), page=Page.HELP, helped=helped)
    text = " ".join(" ".join(text_of(help_page(view, 80))).split())
    assert all(key.words in text for key in keys_of(view))
    assert "it does not protect" in text


def test_next_uses_stand_in_the_rows_only_with_a_plan() -> None:
    """Feeding now, needed in so long, or never again; without a plan the column is not there."""
    calm = samples.healthy()
    planned = replace(
        calm,
        strands=tuple(
            replace(strand, next_use_s={2: 5_000.0, 3: float("inf")}.get(strand.input)) for strand in calm.strands
        ),
    )
    with_plan = text_of(list(frame(View(planned, "x"), 80, 24)))
    without = "\n".join(text_of(list(frame(View(calm, "x"), 80, 24))))

    assert any("next use" in line for line in with_plan)
    assert any("1 h 23 min" in line and line.strip().startswith("2 ") for line in with_plan)
    assert any(" never" in line and line.strip().startswith("3 ") for line in with_plan)
    assert "next use" not in without
