"""Figures: they draw for every kind of case, say what they must, and no label lies on another."""

from __future__ import annotations

import io
from itertools import combinations, pairwise
from pathlib import Path

import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.text import Text
from report_samples import prediction

from thermsim.case.load import parse_case
from thermsim.errors import WriteError
from thermsim.report import figures
from thermsim.report.data.result import result
from thermsim.report.data.views import face_view, section_view
from thermsim.report.drawing.labels import spread
from thermsim.report.drawing.style import DARKEST, INK, LIGHTEST, colour_range, heat_colours, srgb
from thermsim.report.figures.face_figure import isotherms
from thermsim.report.figures.section_figure import stretch
from thermsim.report.figures.stack_figure import layers_drawn
from thermsim.report.words.titles import title_of

NAMES = ["package", "slice", "bars"]
BIG_NAMES = """\
title: Many zones
layers:
  - {part: die, material: silicon, size_mm: [12, 8], thickness_mm: 0.5}
heat:
  - in: die
    zones:
      - {zone: a name that is far too long for its zone, corner_mm: [0.5, 0.5], size_mm: [1, 1], power_W: 3}
      - {zone: another long name, corner_mm: [2, 0.5], size_mm: [1, 1], power_W: 4}
      - {zone: a third long name, corner_mm: [10, 0.6], size_mm: [1, 1], power_W: 5}
      - {zone: upright, corner_mm: [6, 1], size_mm: [0.8, 6], power_W: 2}
cooling:
  - {face: top, film_W_m2K: 20000, fluid_C: 30}
"""


def drawn(figure: Figure) -> Figure:
    figure.canvas.draw()
    return figure


def texts(figure: Figure) -> list[Text]:
    """Everything that can be read, without ticks that lie outside of their axis."""
    found = []
    for text in figure.findobj(Text):
        if text.get_visible() and text.get_text().strip():
            found.append(text)
    ticks = {
        id(label)
        for axes in figure.axes
        for axis, limits in ((axes.xaxis, axes.get_xlim()), (axes.yaxis, axes.get_ylim()))
        for tick in [*axis.get_major_ticks(), *axis.get_minor_ticks()]
        for label in (tick.label1, tick.label2)
        if not label.get_visible() or not min(limits) - 1e-9 <= tick.get_loc() <= max(limits) + 1e-9
    }
    return [text for text in found if id(text) not in ticks]


def assert_readable(figure: Figure) -> None:
    """No two texts share a pixel, none leaves the figure, none is smaller than 6 pt."""
    drawn(figure)
    boxes = [(text, Text.get_window_extent(text)) for text in texts(figure)]
    width, height = figure.canvas.get_width_height()
    for text, box in boxes:
        assert text.get_fontsize() >= 6.0
        inside = box.x0 >= -1 and box.y0 >= -1 and box.x1 <= width + 1 and box.y1 <= height + 1
        assert inside, f"{text.get_text()!r} leaves the figure: {box}"
    for (one, a), (other, b) in combinations(boxes, 2):
        apart = a.x1 <= b.x0 + 0.5 or b.x1 <= a.x0 + 0.5 or a.y1 <= b.y0 + 0.5 or b.y1 <= a.y0 + 0.5
        assert apart, f"{one.get_text()!r} lies on {other.get_text()!r}"


@pytest.mark.parametrize("name", NAMES)
def test_every_figure_is_readable(name: str) -> None:
    made = prediction(name)
    every = figures.all_figures(made)
    has = {"ladder.png": made.ladder is not None, "moved.png": bool(made.inputs and made.inputs.moved)}
    assert set(every) == {file for file in figures.FILES if has.get(file, True)}
    for figure in every.values():
        assert_readable(figure)
        words = " ".join(text.get_text() for text in texts(figure)).replace("\n", " ")
        assert made.case.title in words


def test_names_of_small_zones_stand_beside_the_map() -> None:
    from thermsim.mesh.predict import predict

    made = predict(parse_case(BIG_NAMES), accuracy_K=50.0, first_cells=2000)
    figure = figures.active_face(made)
    assert_readable(figure)
    words = " ".join(text.get_text() for text in texts(figure)).replace("\n", " ")
    for heat in made.case.heat:
        for zone in heat.zones:
            assert zone.zone in words


def test_the_map_names_zones_with_their_mean_and_marks_the_hottest_spot() -> None:
    made = prediction("package")
    figure = drawn(figures.active_face(made))
    words = [text.get_text().replace("\n", " ") for text in texts(figure)]
    for zone in made.field.zones:
        mean = made.answers["zone", zone.zone, "mean"]
        assert any(zone.zone in word and f"{mean:.1f} C" in word for word in words), zone.zone
    assert f"hottest {made.answers['hottest',]:.1f} C" in words
    diamonds = [line for line in figure.axes[0].lines if line.get_marker() == "D"]
    spot = face_view(made).spot
    assert [(line.get_xdata()[0], line.get_ydata()[0]) for line in diamonds] == [spot]
    assert any("zones: mean" in word for word in words)  # beside `hottest`, so that nobody takes it for a maximum
    assert any("mm]" in word for word in words)
    assert any(word.endswith(" mm") for word in words)  # the scale bar


def test_figures_draw_on_axes_that_are_given() -> None:
    made = prediction("package")
    for draw in (figures.active_face, figures.section, figures.ladder_steps, figures.mesh):
        figure = Figure(figsize=(9, 6))
        axes = figure.add_subplot()
        assert draw(made, ax=axes) is figure
        assert axes.get_title(loc="left")
    figure = Figure(figsize=(9, 6))
    assert figures.stack(made.case, figure.add_subplot()) is figure


def test_a_ladder_without_heat_is_refused() -> None:
    with pytest.raises(ValueError, match="no ladder"):
        figures.ladder_steps(prediction("bars"))


def test_ladder_bars_end_at_the_coolant() -> None:
    made = prediction("package")
    bars = [patch for patch in figures.ladder_steps(made).axes[0].patches if patch.get_width() != 0.0]
    assert min(bar.get_x() + min(bar.get_width(), 0.0) for bar in bars) == pytest.approx(25.0)  # from the case


def test_the_axis_of_the_ladder_ends_at_the_coolant() -> None:
    made = prediction("package")
    axes = drawn(figures.ladder_steps(made)).axes[0]
    assert axes.spines["bottom"].get_bounds() == pytest.approx((25.0, made.field.hottest[0]))  # from the case
    assert min(axes.get_xticks()) >= 25.0 - 1e-9


def test_titles_break_after_the_case() -> None:
    case = prediction("package").case
    assert title_of(case, "a face", 80) == "A small package [of three parts]: a face"
    assert title_of(case, "ladder from here to the coolant of top", 60).split("\n") == [
        "A small package [of three parts]:",
        "ladder from here to the coolant of top",
    ]


@pytest.mark.parametrize(
    ("temperatures", "ends"),
    [
        ((31.0, 30.0, 77.8), (30.0, 80.0)),
        ((30.5, 30.0, 80.0), (30.0, 80.0)),
        ((31.0, 30.7, 80.1), (30.7, 85.0)),
        ((23.0, 30.0, 61.0), (20.0, 65.0)),
        ((20.0, 20.0, 20.0), (20.0, 25.0)),
    ],
)
def test_colours_reach_from_the_coolant_to_the_next_5_K(
    temperatures: tuple[float, float, float], ends: tuple[float, float]
) -> None:
    assert colour_range(*temperatures) == ends


def test_maps_of_one_prediction_share_their_colours_and_say_the_range() -> None:
    made = prediction("package")
    top = 5.0 * np.ceil(made.field.hottest[0] / 5.0)
    for figure in (figures.active_face(made), figures.section(made)):
        words = [text.get_text() for text in texts(drawn(figure))]
        # The room is at 24 C, the coolant on top at 25 C; nothing solid is colder than that.
        assert f"temperature [C], colours from 25 to {top:g} C" in words


def test_a_section_says_from_where_y_counts_and_that_joints_are_left_out() -> None:
    made = prediction("package")
    spot = result(made)["hottest_at"]
    words = [text.get_text().replace("\n", " ").replace("\u00a0", " ") for text in texts(drawn(figures.section(made)))]
    assert any(f"y = {spot['y_mm']:.2f} mm from the lower left of die" in word for word in words)
    assert any(word.startswith("height without joints [mm]") for word in words)
    assert "x from the axis of the stack [mm]" in words


def test_an_even_face_has_no_marker() -> None:
    from thermsim.mesh.predict import predict

    even = """\
title: A slab that is warm
layers: [{part: slab, material: copper, size_mm: [10, 10], thickness_mm: 1}]
heat: [{in: slab, zones: [{zone: all, power_W: 5}]}]
cooling: [{face: top, film_W_m2K: 4000, fluid_C: 20}]
"""
    figure = figures.active_face(predict(parse_case(even), accuracy_K=50.0, first_cells=500))
    assert_readable(figure)
    assert not [line for line in figure.axes[0].lines if line.get_marker() == "D"]
    # By hand: 5 W over 100 mm2 through 1 mm of copper and 4000 W/m2K, 20 + 50e3 (1/4000 + 1e-3/k), k near 390 W/mK.
    assert "everywhere alike: 32.6 C" in [text.get_text() for text in texts(figure)]


def test_pictures_do_not_depend_on_settings_left_behind() -> None:
    import matplotlib as mpl

    before = dict(mpl.rcParams)
    figures.section(prediction("package"))
    assert dict(mpl.rcParams) == before


def test_the_face_reaches_the_outline_of_its_part() -> None:
    made = prediction("package")
    view = face_view(made)
    assert (view.sheet.x[0], view.sheet.x[-1]) == pytest.approx((0.0, 8.0))  # the die is 8 x 6 mm
    assert (view.sheet.y[0], view.sheet.y[-1]) == pytest.approx((0.0, 6.0))
    assert view.what == "bottom face of die"
    assert view.is_hottest
    assert view.voids == ((6.0, 4.0, 8.0, 6.0),)


def test_a_section_jumps_at_a_joint() -> None:
    """The drop over a wedge film is film/k times the flux; here only that the two sides are not joined up."""
    made = prediction("package")
    view = section_view(made)
    die = next(sheet for sheet in view.sheets if sheet.y[0] == pytest.approx(1.0) and sheet.x[0] == pytest.approx(-4.0))
    lid = next(sheet for sheet in view.sheets if sheet.y[-1] == pytest.approx(2.9))
    assert np.nanmax(die.temperature[:, -1]) > np.nanmax(lid.temperature[:, 0]) + 1.0


def test_films_are_drawn_thick_enough_to_be_seen_and_parts_to_scale() -> None:
    case = prediction("package").case
    drawn_layers = layers_drawn(case)
    heights = [one.high - one.low for one in drawn_layers]
    assert heights[0] == pytest.approx(1.0)
    assert heights[3] == pytest.approx(1.5)
    assert heights[2] >= 0.02 * sum(heights)
    assert stretch(10.0, 10.0) == 1


def test_save_all_writes_png_files(tmp_path: Path) -> None:
    paths = figures.save_all(prediction("package"), tmp_path)
    assert [path.name for path in paths] == list(figures.FILES)
    for path in paths:
        assert path.read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"  # PNG signature, RFC 2083
    with pytest.raises(WriteError):
        figures.save_all(prediction("slice"), tmp_path / "not there")


@pytest.mark.parametrize(("low", "high"), [(48.3, 73.8), (20.0, 80.00004), (20.78, 20.944), (80.0, 80.0)])
def test_isotherms_cover_the_range_in_round_steps(low: float, high: float) -> None:
    levels = isotherms(low, high)
    hair = 2e-3 * (high - low)
    assert levels[0] <= low + hair
    assert levels[-1] >= high - hair
    steps = np.diff(levels)
    assert np.allclose(steps, steps[0])
    assert len(levels) <= 16


def test_spread_keeps_order_and_distance() -> None:
    places = spread([1.0, 1.1, 1.2, 9.9], 1.0, 0.0, 10.0)
    assert all(b - a >= 1.0 - 1e-12 for a, b in pairwise(places))
    assert 0.0 <= places[0] <= places[-1] <= 10.0
    crowded = spread([5.0] * 30, 1.0, 0.0, 10.0)
    assert crowded == sorted(crowded)
    assert crowded[-1] <= 10.0
    assert crowded[0] >= -1e-9


def luminance(colour: np.ndarray) -> np.ndarray:
    """Relative luminance of sRGB, WCAG 2.1."""
    linear = np.where(colour <= 0.04045, colour / 12.92, ((colour + 0.055) / 1.055) ** 2.4)
    return linear @ np.array([0.2126, 0.7152, 0.0722])


def test_colours_are_even_and_ink_is_readable_on_all_of_them() -> None:
    colours = np.asarray(heat_colours().colors)
    light = luminance(colours)
    assert np.all(np.diff(light) < 0.0)
    # CIE 1976 lightness (ISO/CIE 11664-4) is another scale than the one the map is made in: steps agree within a third.
    steps = -np.diff(116.0 * np.cbrt(light) - 16.0)
    assert steps.max() / steps.min() < 1.35
    ink = luminance(np.array([int(INK[n : n + 2], 16) / 255 for n in (1, 3, 5)])[None])[0]
    assert (light.min() + 0.05) / (ink + 0.05) >= 4.5  # WCAG 2.1, success criterion 1.4.3
    assert LIGHTEST > DARKEST


def test_oklch_reproduces_white_and_the_published_red() -> None:
    """Ottosson 2020: white is (1, 0, 0); CSS Color 4 gives sRGB red as oklch(0.62796 0.25768 29.234)."""
    white, red = srgb(np.array([1.0, 0.62796]), np.array([0.0, 0.25768]), np.array([0.0, 29.234]))
    assert white == pytest.approx([1.0, 1.0, 1.0], abs=1e-3)
    assert red == pytest.approx([1.0, 0.0, 0.0], abs=2e-3)


def test_a_figure_is_drawn_the_same_twice() -> None:
    made = prediction("slice")
    files = []
    for _ in range(2):
        file = io.BytesIO()
        figures.section(made).savefig(file, format="png", metadata={"Software": None})
        files.append(file.getvalue())
    assert files[0] == files[1]
